"""Surfaces within a solid against closed forms, and the rough distance they are found by."""

import numpy as np
import pytest
from canthus.geometry.distances.closest import ClosestPoint
from canthus.geometry.distances.rough_distance import RoughDistance
from canthus.geometry.errors import BadMesh, NotPossible
from canthus.geometry.measures import components, is_watertight, volume
from canthus.geometry.mesh import Mesh
from canthus.geometry.printing.offset import drawn_to, inset, opened
from canthus.geometry.solids.primitives import box, icosphere, sphere


def test_a_rough_distance_is_never_too_small_and_little_too_large():
    ball = sphere(10, sag=0.002)
    points = np.random.default_rng(0).uniform(-9, 9, (3000, 3))
    exact = ClosestPoint(ball).query(points)[0]
    over = RoughDistance(ball, 0.25).query(points) - exact
    assert over.min() > -1e-12
    far = exact > 1.0
    assert over[far].max() < 0.75**2 / 2  # three spacings aside, seen from a millimetre and more
    assert np.isinf(RoughDistance(ball, 0.25).query(points[exact > 1.1], far=1.0)).all()


def test_a_ball_within_a_ball():
    """(4/3) pi r³; reference values, section 8."""
    ball = icosphere(5, 12)
    inner = drawn_to(inset(ball, 2.0, 0.4), ClosestPoint(ball), 2.0, 0.2)
    assert is_watertight(inner)
    assert volume(inner) == pytest.approx(4 / 3 * np.pi * 10**3, rel=5e-3)


def test_coarse_triangles_are_no_obstacle():
    inner = inset(box((0, 0, 0), (20, 16, 12)), 2.0, 0.3)
    np.testing.assert_allclose(inner.vertices.min(axis=0), 2.0, atol=0.05)
    np.testing.assert_allclose(inner.vertices.max(axis=0), [18, 14, 10], atol=0.05)


def test_an_opening_rounds_the_corners_a_ball_cannot_reach():
    """A box opened by a ball loses, along an edge, (1 - pi / 4) r² a millimetre."""
    block, radius = box((0, 0, 0), (14, 14, 14)), 3.0
    found = (inset(block, 2.0, 0.25), opened(block, 2.0, radius, 0.25))
    plain, rounded = (drawn_to(face, ClosestPoint(block), 2.0, 0.12) for face in found)
    edges = 12 * (10 - 2 * radius) * (1 - np.pi / 4) * radius**2
    corners = (8 - 4 / 3 * np.pi) * radius**3
    assert volume(plain) - volume(rounded) == pytest.approx(edges + corners, rel=0.1)


def test_an_opening_does_not_leak_outside_where_the_skin_is_as_far():
    """A wall thinner than the ball beside open air: points as deep outside as the hollow is inside are no hollow."""
    found = opened(sphere(8, sag=0.01), 1.5, 1.0, 0.3)
    assert components(found).max() == 0
    assert np.linalg.norm(found.vertices, axis=1).max() < 6.6


def test_what_cannot_be_found_says_so():
    ball = sphere(5, sag=0.05)
    with pytest.raises(NotPossible, match="too coarse"):
        inset(ball, 1.0, 0.5)
    with pytest.raises(BadMesh, match="closed"):
        inset(Mesh(ball.vertices, ball.triangles[1:]), 1.0, 0.2)
    assert not len(opened(ball, 4.0, 2.0, 0.4).triangles)


def test_the_same_solid_gives_the_same_surface_to_the_last_bit():
    ball = sphere(8, sag=0.02)
    one, other = (opened(ball, 1.5, 0.5, 0.3) for _ in range(2))
    assert one.vertices.tobytes() == other.vertices.tobytes()
    assert one.triangles.tobytes() == other.triangles.tobytes()
