"""Winding numbers: the check values of section 8 (computed; method Jacobson et al. 2013)."""

import numpy as np
import pytest
from canthus.geometry.distances.winding import Winding, winding_numbers
from canthus.geometry.mesh import Mesh
from canthus.geometry.solids.primitives import box, icosphere, sphere


def test_inside_outside_and_inside_out():
    ball = icosphere(3)
    points = np.array([[0, 0, 0], [0.3, 0.5, -0.2], [3, 0, 0]])
    np.testing.assert_allclose(winding_numbers(ball, points), [1, 1, 0], atol=1e-12)
    inside_out = Mesh(ball.vertices, ball.triangles[:, ::-1])
    np.testing.assert_allclose(winding_numbers(inside_out, points), [-1, -1, 0], atol=1e-12)


def test_a_cube_without_one_face():
    cube = box((0, 0, 0), (1, 1, 1))
    lid = (cube.corners[:, :, 2] == 1).all(axis=1)
    open_cube = cube.kept(~lid)
    centre, hole = np.array([[0.5, 0.5, 0.5]]), np.array([[0.5, 0.5, 1.0]])
    assert winding_numbers(open_cube, centre)[0] == pytest.approx(5 / 6, abs=1e-12)
    assert winding_numbers(open_cube, hole)[0] == pytest.approx(1 / 2, abs=1e-12)


def test_the_fast_numbers_agree_with_the_exact_ones():
    ball = sphere(10, sag=0.02)
    torn = ball.kept(np.random.default_rng(0).random(len(ball.triangles)) > 0.05)
    points = np.random.default_rng(1).normal(size=(400, 3)) * 8
    np.testing.assert_allclose(Winding(torn).query(points), winding_numbers(torn, points), atol=0.02)


def test_inside_is_right_close_to_the_surface():
    ball = sphere(10, sag=0.001)
    ways = np.random.default_rng(2).normal(size=(500, 3))
    ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    winding = Winding(ball)
    assert winding.inside(ways * 9.99).all()
    assert not winding.inside(ways * 10.01).any()


def test_two_solids_that_overlap_count_twice():
    one, other = box((0, 0, 0), (2, 2, 2)), box((1, 1, 1), (3, 3, 3))
    both = Mesh(np.concatenate([one.vertices, other.vertices]), np.concatenate([one.triangles, other.triangles + 8]))
    assert Winding(both).query(np.array([[1.5, 1.5, 1.5]]))[0] == pytest.approx(2, abs=1e-9)
