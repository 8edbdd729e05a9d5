"""Turned diagonals: Delaunay's own triangulation of the plane, as scipy (Qhull) makes it, and what may not change."""

import numpy as np
import pytest
from canthus.geometry.measures import triangle_areas
from canthus.geometry.mesh import Mesh
from canthus.geometry.solids.flipping import with_even_triangles
from scipy.spatial import Delaunay

VIEW = np.array([0.0, 0.0, -50.0])


def sheared(rows=12, columns=15, shear=3.3):
    """A lattice of places whose triangles lie slantwise, over a square that is not sheared at its rim."""
    u, v = np.meshgrid(np.arange(columns), np.arange(rows), indexing="ij")
    bulge = np.sin(np.pi * u / (columns - 1)) * np.sin(np.pi * v / (rows - 1))
    places = np.stack([u + shear * bulge, v + 0.3 * bulge * np.sin(u), np.zeros(u.shape)], axis=-1).reshape(-1, 3)
    number = np.arange(rows * columns).reshape(columns, rows)
    a, b, c, d = number[:-1, :-1].ravel(), number[1:, :-1].ravel(), number[1:, 1:].ravel(), number[:-1, 1:].ravel()
    return places, np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])]).astype(np.int32)


def least_angles(places, triangles):
    corners = places[triangles]
    ways = np.roll(corners, -1, axis=1) - corners
    ways /= np.linalg.norm(ways, axis=2, keepdims=True)
    return np.degrees(np.arccos(np.clip(-(ways * np.roll(ways, 1, axis=1)).sum(axis=2), -1, 1))).min(axis=1)


def test_on_a_plane_it_is_delaunays_triangulation():
    """Begun from the triangulation of the same points drawn out five times in x, whose hull is the same."""
    places = np.random.default_rng(1).uniform(-10, 10, (400, 2))
    drawn_out = _counterclockwise(places, Delaunay(places * [5, 1]).simplices)
    turned = with_even_triangles(np.column_stack([places, np.zeros(400)]), drawn_out, VIEW)
    assert _faces(turned) == _faces(Delaunay(places).simplices)
    assert _faces(turned) != _faces(drawn_out)


def test_rim_area_and_facing_stay():
    places, triangles = sheared()
    places[:, 2] = 2 * np.cos(places[:, 0] / 4)
    turned = with_even_triangles(places, triangles, VIEW)
    assert _rim(turned) == _rim(triangles)
    assert len(turned) == len(triangles)
    flat = places * [1, 1, 0]
    assert triangle_areas(Mesh(flat, turned)).sum() == pytest.approx(triangle_areas(Mesh(flat, triangles)).sum())
    a, b, c = (places[turned] - VIEW).transpose(1, 0, 2)
    assert (np.einsum("ij,ij->i", a, np.cross(b, c)) > 0).all()


def test_a_piece_that_is_even_already_stays_as_it_is():
    """Equilateral triangles: the two angles facing an edge come to 120 degrees."""
    u, v = np.meshgrid(np.arange(8), np.arange(8), indexing="ij")
    places = np.column_stack([(u + v / 2).ravel(), (v * 3**0.5 / 2).ravel(), np.zeros(64)])
    triangles = _counterclockwise(places, Delaunay(places[:, :2] + 1e-9 * np.arange(128).reshape(64, 2)).simplices)
    plump = least_angles(places, triangles) > 59
    np.testing.assert_array_equal(with_even_triangles(places, triangles[plump], VIEW), triangles[plump])


def _counterclockwise(places, triangles):
    a, b, c = places[triangles][..., :2].transpose(1, 0, 2)
    turn = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
    return np.where((turn > 0)[:, None], triangles, triangles[:, ::-1]).astype(np.int32)


def _faces(triangles):
    return {tuple(sorted(face)) for face in triangles.tolist()}


def _rim(triangles):
    edges = {(int(face[k]), int(face[(k + 1) % 3])) for face in triangles for k in range(3)}
    return {edge for edge in edges if edge[::-1] not in edges}
