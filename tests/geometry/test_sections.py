"""Plane sections against exact areas."""

import numpy as np
import pytest
from canthus.geometry.solids.booleans import difference
from canthus.geometry.solids.primitives import box, cylinder, sphere
from canthus.geometry.solids.sections import Outline, deepest, depths_in, plane, section, sections
from canthus.geometry.transforms import rotation, transform
from hypothesis import given
from hypothesis import strategies as st

BALL = sphere(12.0)


@given(st.floats(-11.5, 11.5), st.tuples(*[st.floats(-1, 1)] * 3).filter(lambda way: np.linalg.norm(way) > 0.1))
def test_a_ball_is_cut_in_circles(height, way):
    """pi (R² - h²), at any tilt."""
    cut = plane(np.asarray(way) / np.linalg.norm(way) * height, way)
    (outline,) = section(BALL, cut)
    assert outline.area == pytest.approx(np.pi * (144 - height**2), rel=4e-3)
    assert outline.area > 0  # counter-clockwise round material
    np.testing.assert_allclose(outline.centroid, 0, atol=0.02)


def test_what_a_dented_outline_spans():
    """An L of 3 by 3 with arms 1 wide: area 5; its hull lacks a triangle of 2 of the square's 9."""
    corner = Outline(np.array([(0, 0), (3, 0), (3, 1), (1, 1), (1, 3), (0, 3)], float))
    assert corner.area == pytest.approx(5)
    assert corner.span == pytest.approx(7)


def test_levels_together_are_the_levels_one_by_one():
    cut = plane((0, 0, 0), (0, 0, 1))
    heights = np.linspace(-13, 13, 9)
    for height, found in zip(heights, sections(BALL, cut, heights), strict=True):
        alone = section(BALL, cut.raised(height))
        assert [outline.area for outline in found] == pytest.approx([outline.area for outline in alone])


def test_holes_count_negative_and_bound_the_depth():
    """A bored block: 10 x 8 less a circle of radius 2."""
    block = difference(box((-5, -4, -1), (5, 4, 1)), cylinder((0, 0, -2), (0, 0, 2), 2.0))
    outlines = section(block, plane((0, 0, 0.25), (0, 0, 1)))
    assert [outline.area for outline in outlines] == pytest.approx(
        [80.0, -4 * np.pi], rel=2e-3
    )  # the bore is inscribed
    depths = depths_in(outlines, np.array([(0, 0), (3, 0), (4.5, 0), (6, 0), (0, -3.5)], float))
    np.testing.assert_allclose(depths, [-2, 1, 0.5, -1, 0.5], atol=0.003)
    heart = deepest(outlines)
    # The best place is as far from two sides as from the bore: (5 - d)² + (4 - d)² = (d + 2)², so d = 1.835.
    away = np.abs(heart)
    assert depths_in(outlines, heart[None])[0] == pytest.approx(
        min(5 - away[0], 4 - away[1], np.hypot(*away) - 2), abs=0.01
    )
    assert depths_in(outlines, heart[None])[0] == pytest.approx(1.835, abs=0.06)


def test_a_plane_through_vertices_still_gives_closed_outlines():
    """Vertices on the plane count as above it."""
    ring = box((0, 0, 0), (4, 2, 1))
    assert section(ring, plane((0, 0, 0), (0, 0, 1))) == ()
    assert [outline.area for outline in section(ring, plane((0, 0, 1), (0, 0, 1)))] == [8.0]


def test_a_planes_coordinates_go_there_and_back():
    cut = plane((1, 2, 3), (0.2, -0.5, 1))
    points = np.random.default_rng(0).normal(size=(20, 3))
    flat, heights = cut.flat(points), cut.heights(points)
    np.testing.assert_allclose(cut.placed(flat) + heights[:, None] * cut.up, points)
    np.testing.assert_allclose(cut.matrix[:3, :3] @ cut.matrix[:3, :3].T, np.eye(3), atol=1e-12)
    turned = transform(rotation((0, 0, 1), 0.3))
    assert np.linalg.det(turned) == pytest.approx(1)
