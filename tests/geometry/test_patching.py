"""Holes cut into bodies whose shape is known, filled and compared with it."""

import numpy as np
import pytest
from canthus.geometry.measures import edge_faults, genus, triangle_normals, volume
from canthus.geometry.mending.patching import holes, patched
from canthus.geometry.mesh import Mesh
from canthus.geometry.solids.primitives import icosphere


def opened(ball: Mesh, ways, angle) -> Mesh:
    """The ball without the triangles within an angle of some directions, degrees."""
    middles = ball.corners.mean(axis=1)
    middles /= np.linalg.norm(middles, axis=1, keepdims=True)
    ways = np.asarray(ways, float)
    ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    return ball.kept(~(middles @ ways.T > np.cos(np.radians(angle))).any(axis=1))


BALL = icosphere(5, 60.0)
WAYS = [[0, 0, 1], [1, 1, 0], [-1, 0.3, 0.2], [0, -1, -0.4]]


def test_holes_are_listed_with_their_widths():
    found, knotted = holes(opened(BALL, WAYS, 10))
    assert (len(found), knotted) == (4, 0)
    for hole in found:
        assert hole.width == pytest.approx(2 * 60 * np.sin(np.radians(10)), rel=0.15)
    assert holes(BALL) == ([], 0)


@pytest.mark.parametrize("angle", [5, 10, 18])
def test_patches_follow_the_sphere_far_better_than_flat_ones(angle):
    """Holes of 10 to 37 mm; bars of the project: RMS at most half the flat fill's, tangent within 5 degrees."""
    mesh = opened(BALL, WAYS, angle)
    found, _ = holes(mesh)
    filled = patched(mesh, found)
    assert not edge_faults(filled)
    assert genus(filled) == 0
    assert volume(filled) == pytest.approx(volume(BALL), rel=0.004)
    new = filled.vertices[len(mesh.vertices) :]
    flat = 60 * (1 - np.cos(np.radians(angle)))  # depth of the cap a flat fill cuts off; its RMS over 1/sqrt(3) of it
    away = np.linalg.norm(new, axis=1) - 60
    assert np.sqrt((away**2).mean()) < 0.5 * flat / np.sqrt(3)
    normals = triangle_normals(filled)[len(mesh.triangles) :]
    rim = np.isin(filled.triangles[len(mesh.triangles) :], np.concatenate([hole.rim for hole in found])).any(axis=1)
    corners = filled.corners[len(mesh.triangles) :][rim].mean(axis=1)
    cosine = np.einsum("ij,ij->i", normals[rim], corners / np.linalg.norm(corners, axis=1, keepdims=True))
    assert np.degrees(np.arccos(np.clip(cosine, -1, 1))).mean() < 5


def test_a_flat_rim_in_a_flat_sheet_is_filled_flat():
    x, y = np.meshgrid(np.arange(12.0), np.arange(12.0))
    grid = np.stack([x.ravel(), y.ravel(), 0 * x.ravel()], axis=1)
    quads = [(r * 12 + c, r * 12 + c + 1, r * 12 + c + 13, r * 12 + c + 12) for r in range(11) for c in range(11)
             if not (3 <= r < 8 and 4 <= c < 9)]  # fmt: skip
    triangles = np.array([[a, b, c] for a, b, c, _ in quads] + [[a, c, d] for a, _, c, d in quads])
    mesh = Mesh(grid, triangles)
    inner = [hole for hole in holes(mesh)[0] if hole.width < 9]
    filled = patched(mesh, inner)
    assert np.abs(filled.vertices[:, 2]).max() < 1e-9
    assert triangle_normals(filled)[:, 2].min() > 0.99


def test_a_sawn_rim_leaves_no_fan_and_no_ridge():
    """Teeth of the rim, as cutting whole triangles away leaves them, are filled; the new skin keeps to the sphere."""
    ball = icosphere(6, 60.0)
    rng = np.random.default_rng(0)
    wavering = ball.vertices * (1 + 0.002 * rng.standard_normal((len(ball.vertices), 1)))
    mesh = opened(Mesh(wavering, ball.triangles), WAYS, 12)
    found, _ = holes(mesh)
    filled = patched(mesh, found)
    assert not edge_faults(filled)
    assert genus(filled) == 0
    new = filled.triangles[len(mesh.triangles) :]
    assert np.bincount(new.ravel()).max() < 12  # a fan would have a hub of as many triangles as the rim has edges
    outward = np.einsum("ij,ij->i", triangle_normals(filled)[len(mesh.triangles) :], filled.vertices[new].mean(axis=1))
    assert (outward > 0).all()
    away = np.linalg.norm(filled.vertices[len(mesh.vertices) :], axis=1) - 60
    assert np.sqrt((away**2).mean()) < 0.35  # a flat fill lies 1.3 mm in the depth


def test_a_rim_that_folds_over_in_its_own_plane_is_filled_by_way_of_a_circle():
    """A saddle's rim over more than a right angle each way hangs over itself seen from above."""
    turn = np.linspace(0, 2 * np.pi, 96, endpoint=False)
    rings = []
    for radius in (12.0, 13.0, 14.0):
        bent = 1.9 * np.cos(2 * turn)
        rings.append(np.stack([radius * np.cos(turn) * np.cos(bent), radius * np.sin(turn), radius * np.sin(bent)], 1))
    here, ahead = np.arange(96), np.roll(np.arange(96), -1)
    band = [np.concatenate([np.stack([here + k, here + k + 96, ahead + k + 96], 1),
                            np.stack([here + k, ahead + k + 96, ahead + k], 1)]) for k in (0, 96)]  # fmt: skip
    mesh = Mesh(np.concatenate(rings), np.concatenate(band))
    inner = [hole for hole in holes(mesh)[0] if hole.rim.max() < 96]
    assert len(inner) == 1
    filled = patched(mesh, inner)
    faults = edge_faults(filled)
    assert len(faults.open) == 96  # the outer rim alone is left
    assert not len(faults.overused)
    assert not len(faults.flipped)


def test_colours_go_on_into_the_patch():
    coloured = Mesh(BALL.vertices, BALL.triangles, np.full((len(BALL.vertices), 3), 77, np.uint8))
    mesh = opened(coloured, WAYS[:1], 10)
    filled = patched(mesh, holes(mesh)[0])
    assert (filled.colours == 77).all()


def test_two_holes_that_meet_in_a_point_are_counted_and_left():
    star = Mesh(
        np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [-1, 0, 0], [-1, -1, 0]], float), np.array([[0, 1, 2], [0, 3, 4]])
    )
    found, knotted = holes(star)
    assert knotted >= 1
    assert len(found) <= 1
