"""Closest places and signs: against closed forms and against every triangle tried in turn."""

import numpy as np
import pytest
from canthus.geometry.distances.distance import ClosestPoint, signed_distance
from canthus.geometry.errors import BadMesh
from canthus.geometry.mesh import Mesh
from canthus.geometry.solids.booleans import difference
from canthus.geometry.solids.primitives import box, cylinder, frustum, icosphere, sphere


def by_trying_all(mesh, points):
    """Distance to each triangle through its plane, its edges and its corners, the least of all."""
    a, b, c = mesh.corners.transpose(1, 0, 2)
    normal = np.cross(b - a, c - a)
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    best = np.full(len(points), np.inf)
    for row, point in enumerate(points):
        height = np.einsum("ij,ij->i", point - a, normal)
        foot = point - height[:, None] * normal
        sides = [np.einsum("ij,ij->i", np.cross(q - p, foot - p), normal) for p, q in ((a, b), (b, c), (c, a))]
        inside = np.all(np.array(sides) >= 0, axis=0)
        least = np.abs(height[inside]).min(initial=np.inf)
        for p, q in ((a, b), (b, c), (c, a)):
            share = np.clip(np.einsum("ij,ij->i", point - p, q - p) / ((q - p) ** 2).sum(axis=1), 0, 1)
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
