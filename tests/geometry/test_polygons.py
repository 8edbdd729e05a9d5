"""Polygons cut into triangles."""

import numpy as np
import pytest
from canthus.geometry.solids.polygons import triangulated
from canthus.geometry.transforms import rotation
from hypothesis import given
from hypothesis import strategies as st


def areas(points, triangles):
    a, b, c = points[triangles].transpose(1, 0, 2)
    return np.cross(b - a, c - a) / 2


L_SHAPE = [(0, 0), (3, 0), (3, 1), (1, 1), (1, 3), (0, 3)]
ARROW = [(0, 0), (2, 2), (4, 0), (2, 6)]
COMB = [(0, 0), (7, 0), (7, 3), (6, 3), (6, 1), (4, 1), (4, 3), (3, 3), (3, 1), (1, 1), (1, 3), (0, 3)]


@pytest.mark.parametrize(("outline", "area"), [(L_SHAPE, 5), (ARROW, 8), (COMB, 13)])
@pytest.mark.parametrize("turned_round", [False, True])
@pytest.mark.parametrize("axis", [(1.0, 2.0, 3.0), (0.0, 1.0, 0.0), (1.0, 0.0, 0.0)])
def test_a_dented_polygon_is_covered_once(outline, area, turned_round, axis):
    """Signed areas add up to the polygon's own (counted on paper), and none is turned over, in any plane."""
    flat = np.array(outline[::-1] if turned_round else outline, float)
    points = np.column_stack([flat, np.zeros(len(flat))]) @ rotation(axis, 1.1).T
    triangles = triangulated(points, np.arange(len(flat))[None])
    pieces = areas(points, triangles)
    normal = pieces.sum(axis=0) / np.linalg.norm(pieces.sum(axis=0))
    assert len(triangles) == len(flat) - 2
    assert np.linalg.norm(pieces.sum(axis=0)) == pytest.approx(area)
    assert (pieces @ normal > 0).all()


@given(st.integers(3, 12), st.floats(0.5, 2.0))
def test_a_round_polygon_is_covered_once(corners, stretch):
    """n / 2 sin(2 pi / n) is the area of a regular polygon of radius 1."""
    angles = 2 * np.pi * np.arange(corners) / corners
    points = np.column_stack([stretch * np.cos(angles), np.sin(angles), np.zeros(corners)])
    pieces = areas(points, triangulated(points, np.arange(corners)[None]))
    assert (pieces[:, 2] > -1e-12).all()
    assert pieces[:, 2].sum() == pytest.approx(stretch * corners / 2 * np.sin(2 * np.pi / corners))


def test_a_quad_is_cut_across_its_shorter_diagonal():
    points = np.array([(0, 0, 0), (2, 0, 0), (3, 1, 0), (0, 1, 0)], float)
    assert {frozenset(row) for row in triangulated(points, np.array([[0, 1, 2, 3]])).tolist()} == {
        frozenset((0, 1, 3)),
        frozenset((1, 2, 3)),
    }
