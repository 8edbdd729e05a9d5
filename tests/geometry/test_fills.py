"""What a closed surface declares as filled in, and what it says of a bubble."""

import numpy as np
import pytest
from canthus.geometry.mesh import Mesh
from canthus.geometry.solids.primitives import icosphere
from canthus.geometry.surfacing.closing import closed_surface
from canthus.geometry.surfacing.fills import FARTHEST, fills, relaxed


def ball_with_distance(distance):
    """A ball of radius 40 whose vertices lie so far from the data as is told."""
    ball = icosphere(6, 40.0)
    gap = distance(ball.vertices)
    columns = {"distance_from_data_mm": gap.astype(np.float32), "confidence": (gap < 2).astype(np.float32)}
    return Mesh(ball.vertices, ball.triangles, None, columns)


def test_a_cap_left_unseen_is_one_fill_that_stands_out_of_its_rim():
    """A cap of height h on a ball of radius r: area 2 pi r h, rim of radius sqrt(r^2 - (r - h)^2), h out of its rim."""
    height = 8.0
    mesh = ball_with_distance(lambda places: np.clip(places[:, 2] - (40 - height), 0, None) * 10)
    (fill,) = fills(mesh)
    assert fill.area == pytest.approx(2 * np.pi * 40 * height, rel=0.05)
    assert fill.across == pytest.approx(2 * np.sqrt(40**2 - (40 - height) ** 2), rel=0.05)
    assert fill.bulge == pytest.approx(height, rel=0.1)
    np.testing.assert_allclose(fill.place, [0, 0, 40 - height / 2], atol=0.5)  # Archimedes: even along the axis


def test_all_that_lies_far_from_the_data_is_in_a_fill():
    rng = np.random.default_rng(0)
    mesh = ball_with_distance(lambda places: np.where(rng.random(len(places)) < 0.01, 6.0, 0.1))
    declared = np.zeros(len(mesh.triangles), bool)
    for fill in fills(mesh):
        declared[fill.triangles] = True
    beyond = (mesh.columns["distance_from_data_mm"][mesh.triangles] > FARTHEST).any(axis=1)
    assert beyond.any()
    assert declared[beyond].all()


def test_the_flat_across_an_open_neck_is_declared_and_is_no_bubble():
    """A ball cut open: what closes it lies in the plane of the cut, and all that is far from the points is in it."""
    ball = icosphere(6, 40.0)
    points = ball.vertices[ball.vertices[:, 2] > -25]
    mesh = closed_surface(points, points / 40, resolution=1.5).mesh
    (fill,) = fills(mesh)
    assert fill.bulge < 0.02 * fill.across
    outside = np.ones(len(mesh.triangles), bool)
    outside[fill.triangles] = False
    assert mesh.columns["distance_from_data_mm"][mesh.triangles[outside]].max() < FARTHEST


def test_a_surface_seen_all_over_has_no_fill():
    assert fills(ball_with_distance(lambda places: np.full(len(places), 0.3))) == []


def test_what_is_relaxed_settles_between_what_stays():
    """Means of means over a membrane end in the solution of Laplace's equation: here the plane through its rim."""
    sides = np.arange(21.0)
    x, y = (each.ravel() for each in np.meshgrid(sides, sides))
    rough = np.random.default_rng(0).normal(0, 0.5, len(x))
    inner = (np.abs(x - 10) < 8) & (np.abs(y - 10) < 8)
    vertices = np.stack([x, y, 0.3 * x + np.where(inner, rough, 0)], axis=1)
    corner = (np.arange(20)[:, None] * 21 + np.arange(20)).ravel()
    triangles = np.concatenate([corner[:, None] + [0, 1, 21], corner[:, None] + [1, 22, 21]])
    mesh, moved = relaxed(Mesh(vertices, triangles), inner.astype(float), passes=400)
    np.testing.assert_array_equal(moved, np.flatnonzero(inner))
    np.testing.assert_array_equal(mesh.vertices[~inner], vertices[~inner])
    assert np.abs(mesh.vertices[:, 2] - 0.3 * mesh.vertices[:, 0]).max() < 1e-3
    same, none = relaxed(mesh, np.zeros(len(x)))
    assert same is mesh
    assert not len(none)
