"""Ridges on a plane, on a cylinder unrolled: heights and widths against what was set."""

import numpy as np
import pytest
from canthus.geometry.quad_meshes.splitting import split
from canthus.geometry.raising.ridges import Ridge, raised
from canthus.geometry.solids.primitives import cylinder
from canthus.geometry.views.unrolled import unrolled


def test_a_ridge_is_as_high_and_wide_as_set():
    """A parabola's full width at half its height is its width over the root of two; its end is round."""
    ticks = np.arange(-2, 12, 0.05)
    x, y = (each.ravel() for each in np.meshgrid(ticks, ticks - 5, indexing="ij"))
    vertices = np.stack([x, y, np.zeros(len(x))], axis=1)
    line = np.stack([np.linspace(0, 10, 20), np.zeros(20), np.full(20, 0.07)], axis=1)  # a little off the surface
    ridge = Ridge(line, np.full(20, 0.6), np.full(20, 0.5))
    height = raised(vertices, np.tile([0.0, 0, 1], (len(x), 1)), [ridge])
    assert height.max() == pytest.approx(0.5, rel=0.01)
    across = height[np.abs(x - 5) < 0.02]
    assert (across > 0.25).sum() * 0.05 == pytest.approx(1.2 / np.sqrt(2), rel=0.05)
    assert (across > 0).sum() * 0.05 == pytest.approx(1.2, rel=0.05)
    assert height[(x < -0.67) | (x > 10.67) | (np.abs(y) > 0.67)].max() == 0
    assert height[(np.abs(x + 0.5) < 0.02) & (np.abs(y) < 0.02)].min() > 0
    assert not raised(vertices, vertices, []).any()


def test_where_two_meet_the_higher_counts():
    vertices = np.array([[0.0, 0, 0], [0.0, 0.9, 0]])
    flat = [np.stack([np.linspace(-3, 3, 9), np.full(9, shift), np.zeros(9)], axis=1) for shift in (0.0, 0.9)]
    ridges = [Ridge(line, np.full(9, 0.6), np.full(9, high)) for line, high in zip(flat, (0.4, 0.7), strict=True)]
    height = raised(vertices, np.tile([0.0, 0, 1], (2, 1)), ridges)
    np.testing.assert_allclose(height, [0.4, 0.7], atol=1e-3)


def test_a_cylinder_unrolls_to_a_rectangle():
    """A quarter turn of a radius of 40 is 20 pi long, and a place comes back to where it was."""
    mesh = split(cylinder((0, 0, -30), (0, 0, 30), 40.0, sag=0.001), 6.0)[0]
    patch = unrolled(mesh, (0.0, 0.0), 40.0, (-50.0, -20.0), (70.0, 20.0), 0.5)
    assert patch.outward.seen.all()
    np.testing.assert_allclose(patch.outward.depths, 40.0, atol=0.01)
    side, front = np.array([[40.0, 0, 5]]), np.array([[0.0, -40, -3]])
    np.testing.assert_allclose(patch.flat(side), [[20 * np.pi, 5]], atol=1e-9)
    np.testing.assert_allclose(patch.flat(front), [[0, -3]], atol=1e-9)
    np.testing.assert_allclose(patch.places(patch.flat(side)), side, atol=0.01)
    np.testing.assert_allclose(patch.normals(patch.flat(side)), [[1, 0, 0]], atol=0.02)
    painted = patch.painted(mesh, mesh.vertices[:, 2])
    np.testing.assert_allclose(painted[:, 10], patch.outward.up, atol=3.0)
