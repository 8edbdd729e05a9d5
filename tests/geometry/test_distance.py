"""Closest places and signs: against closed forms and against every triangle tried in turn."""

import numpy as np
import pytest
from canthus.geometry.distances.balls import asking_rows, ball_rows
from canthus.geometry.distances.box_tree import BLOCK, Asked, BoxTree
from canthus.geometry.distances.closest import ClosestPoint
from canthus.geometry.distances.columns import corner_columns
from canthus.geometry.distances.distance import signed_distance
from canthus.geometry.distances.planes import plane_bound, plane_columns, with_rounding
from canthus.geometry.errors import BadMesh
from canthus.geometry.mesh import Mesh
from canthus.geometry.solids.booleans import difference
from canthus.geometry.solids.primitives import box, cylinder, frustum, icosphere, sphere


def by_trying_all(mesh, points):
    """Distance to each triangle through its plane, its edges and its corners, the least of all."""
    a, b, c = mesh.corners.transpose(1, 0, 2)
    normal = np.cross(b - a, c - a)
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-300)
    best = np.full(len(points), np.inf)
    for row, point in enumerate(points):
        height = np.einsum("ij,ij->i", point - a, normal)
        foot = point - height[:, None] * normal
        sides = [np.einsum("ij,ij->i", np.cross(q - p, foot - p), normal) for p, q in ((a, b), (b, c), (c, a))]
        inside = np.all(np.array(sides) >= 0, axis=0) & normal.any(axis=1)
        least = np.abs(height[inside]).min(initial=np.inf)
        for p, q in ((a, b), (b, c), (c, a)):
            length = np.maximum(((q - p) ** 2).sum(axis=1), 1e-300)
            share = np.clip(np.einsum("ij,ij->i", point - p, q - p) / length, 0, 1)
            least = min(least, np.linalg.norm(point - p - share[:, None] * (q - p), axis=1).min())
        best[row] = least
    return best


def awkward_shapes():
    block = box((0, 0, 0), (10, 4, 1))
    needle = frustum((0, 0, 0), (0, 0, 12), 3, 0, sag=0.01)
    mixed = difference(box((-20, -20, -20), (20, 20, 20)), sphere(5, (0, -18, 0), sag=0.01))
    open_sheet = icosphere(2).kept(np.arange(100))
    bar = cylinder((0, 0, 0), (9, 0, 0), 1)
    return {"block": block, "needle": needle, "mixed": mixed, "open": open_sheet, "bar": bar}


@pytest.mark.parametrize("name", sorted(awkward_shapes()))
def test_uneven_and_sharp_meshes_are_exact(name):
    mesh = awkward_shapes()[name]
    chance = np.random.default_rng(3)
    low, high = mesh.vertices.min(axis=0) - 4, mesh.vertices.max(axis=0) + 4
    points = np.concatenate([chance.uniform(low, high, (250, 3)), mesh.vertices[:20], mesh.corners.mean(axis=1)[:20]])
    distance, triangle, place = ClosestPoint(mesh).query(points)
    np.testing.assert_allclose(distance, by_trying_all(mesh, points), atol=1e-9)
    np.testing.assert_allclose(np.linalg.norm(points - place, axis=1), distance, atol=1e-12)
    onto_own = ClosestPoint(mesh.kept(np.unique(triangle))).query(place)[0]
    assert onto_own.max() < 1e-9


def soup(count=400, seed=5):
    """Loose triangles from hundredths to tens of millimetres, some of them needles, without area, or there twice."""
    chance = np.random.default_rng(seed)
    size = np.exp(chance.normal(size=(count, 1, 1)) * 1.5)
    corners = chance.uniform(-50, 50, (count, 1, 3)) + chance.normal(size=(count, 3, 3)) * size
    corners[:60, 2] = corners[:60, 0] + (corners[:60, 1] - corners[:60, 0]) * 0.3 + 1e-5
    corners[60:80, 2] = corners[60:80, 0]
    corners[80:90] = corners[80:90, :1]
    corners[-50:] = corners[-100:-50]
    return Mesh(corners.reshape(-1, 3), np.arange(3 * count).reshape(-1, 3))


@pytest.mark.parametrize("spread", [10, 60, 2000])
def test_triangles_of_all_sizes_and_of_none_are_exact_from_near_and_far(spread):
    mesh, points = soup(), np.random.default_rng(6).uniform(-spread, spread, (150, 3))
    distance, _, place = ClosestPoint(mesh).query(points)
    np.testing.assert_allclose(distance, by_trying_all(mesh, points), atol=1e-9)
    np.testing.assert_allclose(np.linalg.norm(points - place, axis=1), distance, atol=1e-9)
    away = np.array([3000.0, -1000.0, 2000.0])
    moved = ClosestPoint(Mesh(mesh.vertices + away, mesh.triangles)).query(points + away)[0]
    np.testing.assert_allclose(moved, distance, atol=1e-9)


def test_points_no_farther_than_asked_for_are_exact():
    mesh, points = soup(), np.random.default_rng(7).uniform(-60, 60, (300, 3))
    nearest, distance = by_trying_all(mesh, points), ClosestPoint(mesh).query(points, far=5.0)[0]
    assert (distance >= nearest - 1e-9).all()
    np.testing.assert_allclose(distance[nearest <= 5], nearest[nearest <= 5], atol=1e-9)


def test_a_crowd_about_the_middle_of_a_ball_is_exact():
    ball, points = icosphere(4, 7.0), np.random.default_rng(8).normal(size=(50, 3)) * [[1e-4, 1e-4, 1.0]]
    np.testing.assert_allclose(ClosestPoint(ball).query(points)[0], by_trying_all(ball, points), atol=1e-12)


def test_no_point_goes_without_a_box_it_reaches():
    chance = np.random.default_rng(9)
    low = chance.uniform(-50, 50, (3, 3000))
    low = low[:, np.argsort(low[0])]
    high = low + chance.uniform(0, 2, low.shape)
    points = np.concatenate([chance.uniform(-60, 60, (3, 160)), 20 + chance.uniform(0, 1, (3, 160))], axis=1)
    reach = chance.uniform(0, 40, 320)
    asked, seen = Asked(points, reach), np.zeros((320, 3000), bool)
    alone = 0
    for rows, boxes in BoxTree(low, high).near(asked):
        single = rows >= asked.blocks
        alone += single.sum()
        seen[rows[single] - asked.blocks, boxes[single]] = True
        seen[rows[~single, None] * BLOCK + np.arange(BLOCK), boxes[~single, None]] = True
    gaps = np.maximum(np.maximum(low[:, None] - points[:, :, None], points[:, :, None] - high[:, None]), 0)
    apart = np.linalg.norm(gaps, axis=0)
    assert alone  # crowded blocks were taken apart
    assert seen[apart <= reach[:, None]].all()
    assert seen.mean() < 1.5 * (apart <= reach[:, None]).mean()  # and not by naming them all


@pytest.mark.parametrize("off", [0.0, 700.0])
def test_single_precision_never_takes_a_triangle_to_be_too_far(off):
    mesh, chance = soup(), np.random.default_rng(10)
    triangles = np.repeat(np.arange(400), 4)
    points = mesh.corners[triangles].mean(axis=1) + chance.normal(size=(1600, 3)) * np.exp(
        chance.normal(size=(1600, 1))
    )
    true = np.array(
        [by_trying_all(mesh.kept([row]), point[None])[0] for row, point in zip(triangles, points, strict=True)]
    )
    columns = np.ascontiguousarray((points + off).T)
    corners = corner_columns(np.ascontiguousarray((mesh.vertices + off).T), mesh.triangles)
    bound = plane_bound(plane_columns(corners), triangles, columns.astype(np.float32))
    assert (bound <= with_rounding(columns, true)).all()
    assert (np.sqrt(bound) > 0.9 * true - 0.01).mean() > 0.6  # and says something
    products = np.einsum("ij,ij->i", asking_rows(columns, true), ball_rows(corners)[triangles])
    assert (products <= 0).all()
    reach = np.sqrt(np.einsum("ij,ij->i", *[points - mesh.corners[triangles].mean(axis=1)] * 2)) / 20
    assert (np.einsum("ij,ij->i", asking_rows(columns, reach), ball_rows(corners)[triangles]) > 0).mean() > 0.2


def test_the_middle_of_a_ball_is_as_far_from_it_as_its_nearest_facet():
    ball = icosphere(4, 7.0)
    distance = ClosestPoint(ball).query(np.zeros((1, 3)))[0]
    assert distance[0] == pytest.approx(by_trying_all(ball, np.zeros((1, 3)))[0], abs=1e-12)


def test_signs_on_a_box_are_those_of_its_planes():
    chance = np.random.default_rng(0)
    points = chance.uniform(-2, 3, (4000, 3))
    outside = np.maximum(np.maximum(-points, points - 1), 0)
    expected = np.where(
        (outside > 0).any(axis=1), np.linalg.norm(outside, axis=1), -np.minimum(points, 1 - points).min(axis=1)
    )
    np.testing.assert_allclose(signed_distance(box((0, 0, 0), (1, 1, 1)), points), expected, atol=1e-12)


def test_signs_on_a_fine_ball():
    points = np.random.default_rng(1).normal(size=(3000, 3)) * 6
    np.testing.assert_allclose(
        signed_distance(sphere(8, sag=0.002), points), np.linalg.norm(points, axis=1) - 8, atol=0.0021
    )


def test_needles_keep_their_sign_beyond_the_tip():
    cone = frustum((0, 0, 0), (0, 0, 12), 3, 0)
    assert (signed_distance(cone, np.array([[0, 0, 12.5], [0.3, 0, 12.2], [0.2, 0.3, 14]])) > 0).all()
    assert (signed_distance(cone, np.array([[0, 0, 11.5], [0.1, 0, 11]])) < 0).all()


def test_no_surface_and_no_inside_are_refused():
    with pytest.raises(BadMesh, match="no triangles"):
        ClosestPoint(Mesh(np.zeros((0, 3)), np.zeros((0, 3), int)))
    with pytest.raises(BadMesh, match="not a closed surface"):
        signed_distance(icosphere(1).kept(np.arange(70)), np.zeros((1, 3)))
