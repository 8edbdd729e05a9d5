"""Rays against closed forms and against every triangle tried in turn."""

import numpy as np
import pytest
from canthus.geometry.distances.rays import RayCaster, meets
from canthus.geometry.errors import BadMesh
from canthus.geometry.measures import triangle_normals
from canthus.geometry.mesh import Mesh
from canthus.geometry.solids.primitives import box, frustum, icosphere, sphere
from canthus.geometry.transforms import rotation, transform


def by_trying_all(mesh, origins, directions):
    a, b, c = mesh.corners.transpose(1, 2, 0)
    best = np.full(len(origins), np.inf)
    for row in range(len(origins)):
        origin, way = ([np.full(len(mesh.triangles), at) for at in each[row]] for each in (origins, directions))
        met, away = meets(a, b - a, c - a, origin, way)
        best[row] = away[met].min(initial=np.inf)
    return best


def test_rays_from_within_a_box_end_at_its_sides():
    chance = np.random.default_rng(0)
    origins, ways = chance.uniform(0.05, 0.95, (2000, 3)), chance.normal(size=(2000, 3))
    distance, triangle = RayCaster(box((0, 0, 0), (1, 1, 1))).first_hit(origins, ways)
    unit = ways / np.linalg.norm(ways, axis=1, keepdims=True)
    expected = np.where(unit > 0, (1 - origins) / unit, -origins / unit).min(axis=1)
    np.testing.assert_allclose(distance, expected, atol=1e-12)
    assert (triangle >= 0).all()


def test_rays_from_the_middle_of_a_ball_reach_its_radius():
    ways = np.random.default_rng(1).normal(size=(3000, 3))
    distance, _ = RayCaster(sphere(9, (4, 5, 6), sag=0.001)).first_hit(np.tile([4.0, 5, 6], (3000, 1)), ways)
    np.testing.assert_allclose(distance, 9, atol=0.0011)


@pytest.mark.parametrize(
    "mesh", [icosphere(3, 5), frustum((0, 0, 0), (3, 2, 9), 4, 0, 0.05), box((-7, -1, -0.2), (7, 1, 0.2))]
)
def test_every_ray_finds_what_trying_all_finds(mesh):
    chance = np.random.default_rng(2)
    origins = chance.uniform(-12, 12, (400, 3))
    aims = mesh.vertices[chance.integers(0, len(mesh.vertices), 400)] + chance.normal(size=(400, 3))
    ways = (aims - origins) / np.linalg.norm(aims - origins, axis=1, keepdims=True)
    distance, triangle = RayCaster(mesh).first_hit(origins, ways)
    expected = by_trying_all(mesh, origins, ways)
    np.testing.assert_allclose(distance, expected, atol=1e-9)
    assert ((triangle >= 0) == np.isfinite(expected)).all()
    assert np.isfinite(expected).mean() > 0.2


def test_rays_along_the_axes_and_on_the_grid_are_no_exception():
    origins = np.array([[0.5, 0.5, -3], [0, 0.5, 0.5], [1, 1, 1], [0.25, 0.25, 4]], float)
    ways = np.array([[0, 0, 1], [1, 0, 0], [-1, 0, 0], [0, 0, -1]], float)
    distance, _ = RayCaster(box((0, 0, 0), (1, 1, 1))).first_hit(origins, ways)
    np.testing.assert_allclose(distance[[0, 3]], [3, 3])
    assert distance[1] in (0.0, 1.0)


def test_on_a_grid_of_many_blocks_none_is_missed():
    """Slivers and large triangles far from the origin, empty room between two bodies, rays that only leave."""
    far = np.array([500.0, -300.0, 200.0])
    parts = [icosphere(4, 3.0), icosphere(3, 1.0).moved(np.diag([1, 1, 40.0, 1])), box((30, 30, -1), (44, 31, 1))]
    starts = np.cumsum([0, *(len(part.vertices) for part in parts[:-1])])
    both = Mesh(
        np.concatenate([part.vertices for part in parts]) + far,
        np.concatenate([part.triangles + start for part, start in zip(parts, starts, strict=True)]),
    )
    chance = np.random.default_rng(5)
    origins = far + chance.uniform(-60, 60, (600, 3))
    ways = both.vertices[chance.integers(0, len(both.vertices), 600)] + chance.normal(0, 0.5, (600, 3)) - origins
    ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    expected = by_trying_all(both, origins, ways)
    np.testing.assert_allclose(RayCaster(both).first_hit(origins, ways)[0], expected, atol=1e-9)
    assert np.isfinite(expected).mean() > 0.3
    out, hit = RayCaster(both).first_hit(origins, ways, leaving=True)
    normals = triangle_normals(both)
    found = np.isfinite(out)
    assert (np.einsum("ij,ij->i", normals[hit[found]], ways[found]) > 0).all()
    assert (out[found] >= expected[found]).all()


def test_a_few_large_triangles_among_many_small_ones():
    """A fine ball beside a slanting plate a thousand times as wide: its triangles' boxes hold most of the room."""
    ball, plate = icosphere(5, 0.3), box((-1, -1, -0.001), (1, 1, 0.001))
    tilt = rotation((1.0, 1.0, 0.3), 0.9)
    plate, place = plate.moved(transform(tilt * 300.0)), np.array([0.0, 0.0, 200.0])
    both = Mesh(
        np.concatenate([ball.vertices + place, plate.vertices]),
        np.concatenate([ball.triangles, plate.triangles + len(ball.vertices)]),
    )
    origins = np.random.default_rng(6).uniform(-1, 1, (50, 3)) + place + 3.0
    ways = place - origins
    ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    distance, _ = RayCaster(both).first_hit(origins, ways)
    np.testing.assert_allclose(distance, by_trying_all(both, origins, ways), atol=1e-9)


def test_rays_from_far_away_and_along_faces_of_cells():
    """A kilometre off, where 32 bits tell tenths of a millimetre apart; and many rays level with a flat side."""
    ball = icosphere(5, 3.0)
    ways = np.random.default_rng(8).normal(size=(500, 3))
    ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    aside = np.cross(ways, [0.0, 0.0, 1.0]) * np.linspace(0, 2.9, 500)[:, None]
    away = 1e6 + RayCaster(ball).first_hit(aside - 5 * ways, ways)[0] - 5
    np.testing.assert_allclose(RayCaster(ball).first_hit(aside - 1e6 * ways, ways)[0], away, atol=1e-6)
    plate = box((0, 0, 0), (10, 10, 2))
    level = np.column_stack([np.full(200, -1.0), np.linspace(0.01, 9.99, 200), np.linspace(0, 2, 202)[1:-1]])
    ways = np.tile([1.0, 1e-7, -1e-7], (200, 1))
    np.testing.assert_allclose(RayCaster(plate).first_hit(level, ways)[0], 1.0, atol=1e-9)


def test_the_triangle_a_ray_starts_on_is_passed_and_far_ones_are_not_looked_for():
    plate = box((0, 0, 0), (10, 10, 2))
    top = np.flatnonzero((plate.corners[:, :, 2] == 2).all(axis=1)).astype(np.int32)
    origins, down = plate.corners[top].mean(axis=1), np.tile([0.0, 0, -1], (len(top), 1))
    caster = RayCaster(plate)
    np.testing.assert_allclose(caster.first_hit(origins, down, ignoring=top)[0], 2.0)
    assert np.isinf(caster.first_hit(origins, down, ignoring=top, farthest=1.9)[0]).all()
    assert (caster.first_hit(origins, down, ignoring=top, farthest=1.9)[1] == -1).all()


def test_no_surface_is_refused():
    with pytest.raises(BadMesh):
        RayCaster(Mesh(np.zeros((0, 3)), np.zeros((0, 3), int)))
