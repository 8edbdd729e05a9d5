"""Sewing a new piece into a ball: the rest stays bit for bit, nothing is torn, nothing is folded."""

import numpy as np
import pytest
from canthus.geometry.errors import NotPossible
from canthus.geometry.measures import euler, is_watertight, volume
from canthus.geometry.mesh import Mesh
from canthus.geometry.solids.primitives import icosphere
from canthus.geometry.solids.star_patch import flipped, with_star_patch
from canthus.geometry.views.inside_view import frame_about, view_from_inside

AHEAD = np.array([0.0, -1.0, 0.0])


def ball(seed=0, noise=0.0):
    made = icosphere(5, 10.0)
    generator = np.random.default_rng(seed)
    colours = generator.integers(0, 255, (len(made.vertices), 3)).astype(np.uint8)
    shaken = made.vertices * (1 + noise * generator.normal(size=(len(made.vertices), 1)))
    return Mesh(shaken, made.triangles, colours, {"trust": np.linspace(0, 1, len(colours))})


def patched(mesh, radius=10.0, spokes=90, edge=0.6):
    around = 2 * np.pi * np.arange(spokes) / spokes
    edges = edge + 0.1 * np.sin(3 * around)
    frame = frame_about(AHEAD)
    angles = np.linspace(0.1, 0.95, 12)[:, None] * edges
    parts = [np.sin(angles) * np.cos(around), np.sin(angles) * np.sin(around), np.cos(angles)]
    rings = radius * np.stack(parts, axis=-1) @ frame
    return with_star_patch(mesh, np.zeros(3), frame, around, edges, rings, radius * AHEAD, (5.0, 20.0))


@pytest.mark.parametrize("noise", [0.0, 0.004])
def test_ball_stays_closed_and_the_rest_bit_for_bit(noise):
    mesh = ball(noise=noise)
    sewn = patched(mesh)
    new = 12 * 90 + 1
    kept = len(sewn.vertices) - new
    assert is_watertight(sewn)
    assert euler(sewn) == 2
    assert not flipped(sewn, np.zeros(3), kept)
    assert volume(sewn) == pytest.approx(4 / 3 * np.pi * 1000, rel=0.004)  # closed form of the sphere
    rows = {vertex.tobytes() for vertex in mesh.vertices}
    assert all(vertex.tobytes() in rows for vertex in sewn.vertices[:kept])
    outside = np.arccos(np.clip(mesh.vertices @ AHEAD / 10.0, -1, 1)) > 0.85
    left = {vertex.tobytes() for vertex in sewn.vertices[:kept]}
    assert all(vertex.tobytes() in left for vertex in mesh.vertices[outside])
    assert len(sewn.colours) == len(sewn.columns["trust"]) == len(sewn.vertices)


def test_handles_and_scraps_within_the_edge_go_with_it():
    mesh = ball()
    scrap = icosphere(2, 0.4).vertices + 11.5 * AHEAD
    both = Mesh(
        np.concatenate([mesh.vertices, scrap]),
        np.concatenate([mesh.triangles, icosphere(2, 0.4).triangles + len(mesh.vertices)]),
    )
    assert euler(both) == 4
    assert euler(patched(both)) == 2


def test_a_mesh_that_does_not_surround_the_place_is_refused():
    away = ball()
    with pytest.raises(NotPossible):
        patched(Mesh(away.vertices + np.array([0.0, 40.0, 0.0]), away.triangles))


def test_view_from_inside_is_exact_on_a_box_and_a_ball():
    from canthus.geometry.solids.primitives import box

    ways = np.array([[0.0, -1.0, 0.0], [0.3, -1.0, 0.2]])
    ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    seen = view_from_inside(box((-5, -4, -5), (5, 4, 5)), np.zeros(3), AHEAD, 20.0).distances(ways)
    np.testing.assert_allclose(seen, 4 / -ways[:, 1], atol=1e-6)
    round_ = view_from_inside(icosphere(6, 10.0), np.array([1.0, 2.0, 0.0]), AHEAD, 30.0).distances(AHEAD[None])
    np.testing.assert_allclose(round_, 2 + np.sqrt(99), atol=2e-3)
    behind = view_from_inside(ball(), np.array([0.0, 30.0, 0.0]), AHEAD, 60.0, nearest=30.0).distances(AHEAD[None])
    np.testing.assert_allclose(behind, 40.0, atol=0.02)
