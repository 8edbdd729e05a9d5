"""Depth pictures, their folds and even samples, on shapes with known answers."""

import numpy as np
import pytest
from canthus.geometry.distances.sampling import spread_over
from canthus.geometry.errors import BadMesh
from canthus.geometry.mesh import Mesh
from canthus.geometry.views.depth_map import depth_map
from canthus.geometry.views.relief import relief
from scipy.spatial import ConvexHull

SLOPE = np.array([[0.0, 0.0, 1.0], [10.0, 0.0, 6.0], [10.0, 8.0, 4.0], [0.0, 8.0, -1.0]])
HALVES = np.array([[0, 1, 2], [0, 2, 3]], dtype=np.int32)


def plane(x, z):
    return 1.0 + 0.5 * x - 0.25 * z


def test_depths_of_a_plane_are_exact_in_every_pixel():
    seen = depth_map(SLOPE, HALVES, (0.0, 0.0), (10.0, 8.0), 0.25)
    assert seen.seen.all()
    np.testing.assert_allclose(seen.depths, plane(*np.meshgrid(seen.across, seen.up)), atol=1e-9)
    assert seen.at(np.array([3.3]), np.array([1.7]))[0] == pytest.approx(plane(3.3, 1.7))


def test_the_nearest_surface_is_seen_and_nothing_beyond_the_rim():
    behind = SLOPE - [0.0, 0.0, 20.0]
    seen = depth_map(np.vstack([behind, SLOPE]), np.vstack([HALVES, HALVES + 4]), (-2.0, 0.0), (10.0, 8.0), 0.5)
    assert not seen.seen[:, :3].any()
    np.testing.assert_allclose(seen.depths[:, 4:], plane(*np.meshgrid(seen.across[4:], seen.up)), atol=1e-9)


def test_a_groove_is_a_valley_and_a_rib_a_ridge():
    x, z = np.meshgrid(np.linspace(-10, 10, 201), np.linspace(-5, 5, 51))
    rib = np.exp(-((x / 1.0) ** 2))
    corners = np.arange(x.size).reshape(x.shape)
    a, b, c, d = (part.ravel() for part in (corners[:-1, :-1], corners[:-1, 1:], corners[1:, 1:], corners[1:, :-1]))
    triangles = np.vstack([np.column_stack([a, b, c]), np.column_stack([a, c, d])]).astype(np.int32)
    for sign in (1.0, -1.0):
        places = np.column_stack([x.ravel(), z.ravel(), sign * rib.ravel()])
        seen = depth_map(places, triangles, (-9.0, -4.0), (9.0, 4.0), 0.2)
        bends = relief(seen, 0.3)
        middle = len(seen.up) // 2
        strongest = bends.ridge if sign > 0 else bends.valley
        assert abs(seen.across[np.argmax(strongest[middle])]) < 0.11
        # exp(-x^2) smoothed by 0.3 bends by 2 (1 + 2 * 0.09)^-1.5 at its top
        assert strongest[middle].max() == pytest.approx(2.0 * 1.18**-1.5, rel=0.05)


def test_samples_lie_evenly_over_a_sphere_and_point_outwards():
    points = np.random.default_rng(0).normal(size=(400, 3))
    hull = ConvexHull(points / np.linalg.norm(points, axis=1, keepdims=True) * 50)
    corners = hull.points[hull.simplices]
    inward = np.einsum(
        "ti,ti->t", np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), corners[:, 0]
    )
    triangles = np.where(inward[:, None] < 0, hull.simplices[:, ::-1], hull.simplices)
    cloud = spread_over(Mesh(hull.points, triangles), 2.0)
    assert len(cloud) == round(hull.area / 4.0)
    assert (np.einsum("nd,nd->n", cloud.normals, cloud.points) > 40).all()
    np.testing.assert_allclose(cloud.points.mean(axis=0), 0.0, atol=1.0)


def test_a_mesh_without_area_is_refused():
    with pytest.raises(BadMesh, match="area"):
        spread_over(Mesh(np.zeros((3, 3)), np.array([[0, 1, 2]])), 1.0)
