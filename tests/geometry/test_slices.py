"""Slices of shapes whose sections are known from school geometry."""

import numpy as np
import pytest
from canthus.geometry.mesh import Mesh
from canthus.geometry.solids.primitives import box, icosphere
from canthus.geometry.solids.sections import Plane
from canthus.geometry.solids.slices import crossing, inset_crossing

X, Y, Z = np.eye(3)


def ball(radius):
    sphere = icosphere(5)
    return Mesh(radius * sphere.vertices, sphere.triangles)


def length(ends):
    return float(np.linalg.norm(ends[1::2] - ends[::2], axis=1).sum())


def test_a_plane_meets_a_ball_in_a_circle():
    """At height h its radius is sqrt(r² - h²)."""
    ends = crossing(ball(20.0), np.array([0.0, 0.0, 12.0]), Z)
    assert np.linalg.norm(ends[:, :2], axis=1) == pytest.approx(np.full(len(ends), 16.0), abs=0.02)
    assert length(ends) == pytest.approx(2 * np.pi * 16, rel=0.002)


@pytest.mark.parametrize("height", [0.0, 10.0])
def test_the_wall_of_a_ball_is_a_smaller_ball(height):
    """The surface 2 mm under a ball of 20 is one of 18; a plane off the middle meets it in sqrt(18² - h²)."""
    ends = inset_crossing(ball(20.0), Plane(np.array([0.0, 0.0, height]), X, Y), 2.0)
    radius = (18.0**2 - height**2) ** 0.5
    assert np.linalg.norm(ends[:, :2], axis=1) == pytest.approx(np.full(len(ends), radius), abs=0.05)
    assert ends[:, 2] == pytest.approx(np.full(len(ends), height))
    assert length(ends) == pytest.approx(2 * np.pi * radius, rel=0.01)


def test_the_wall_over_a_floor_counts_as_well():
    """A plane 1 mm over the floor of a box lies wholly within a wall of 2 mm; one 3 mm over it does not."""
    solid = box((0.0, 0.0, 0.0), (20.0, 20.0, 20.0))
    assert not len(inset_crossing(solid, Plane(np.array([0.0, 0.0, 1.0]), X, Y), 2.0))
    inner = inset_crossing(solid, Plane(np.array([0.0, 0.0, 3.0]), X, Y), 2.0)
    assert inner[:, :2].min(axis=0) == pytest.approx([2.0, 2.0], abs=0.05)
    assert inner[:, :2].max(axis=0) == pytest.approx([18.0, 18.0], abs=0.05)


def test_where_no_plane_meets_the_mesh_there_is_nothing():
    assert inset_crossing(ball(20.0), Plane(np.array([0.0, 0.0, 50.0]), X, Y), 2.0).shape == (0, 3)
