"""A plug set into a solid whose skin cannot be sewn to, against spheres' closed forms."""

import numpy as np
import pytest
from canthus.geometry.measures import components, is_watertight, volume
from canthus.geometry.solids.booleans import union
from canthus.geometry.solids.primitives import box, icosphere, sphere
from canthus.geometry.solids.star_plug import between_shells, with_plug
from scipy.spatial import cKDTree

RADIUS, COUNT = 10.0, 96


def rings_at(radius, angles):
    """(r, k, 3) rings on a sphere about -y, counter-clockwise seen from outside, and its pole."""
    turns = 2 * np.pi * np.arange(COUNT) / COUNT
    circle = np.stack([np.cos(turns), np.zeros(COUNT), np.sin(turns)], axis=1)
    ahead = np.array([0.0, -1.0, 0.0])
    rings = [np.sin(angle) * circle + np.cos(angle) * ahead for angle in angles]
    return radius * np.stack(rings), radius * ahead


def test_what_stands_before_the_new_surface_goes_and_the_solid_is_whole_again():
    """A bar fused to the ball at both its ends makes a handle that no seam runs round."""
    barred = union(icosphere(5, RADIUS), box((-0.6, -11.5, -6.0), (0.6, -8.0, 6.0)))
    rings, tip = rings_at(RADIUS, np.linspace(0.05, 0.5, 12))
    rings[-1] *= (RADIUS - 0.05) / RADIUS
    made = with_plug(barred, np.zeros(3), rings, tip, 2.0, 4.0)
    assert is_watertight(made)
    assert components(made).max() == 0
    beside = np.hypot(made.vertices[:, 0], made.vertices[:, 2])
    before = (made.vertices[:, 1] < 0) & (beside < np.sin(0.4) * RADIUS)
    assert np.linalg.norm(made.vertices[before], axis=1).max() < RADIUS + 1e-6  # nothing is left of the bar there
    assert cKDTree(made.vertices).query(rings[:-2].reshape(-1, 3))[0].max() < 1e-5  # as 32-bit floats hold them


def test_a_new_surface_like_the_old_changes_no_volume():
    ball = sphere(RADIUS, np.zeros(3), 0.002)
    rings, tip = rings_at(RADIUS, np.linspace(0.02, 0.5, 40))
    rings[-1] *= (RADIUS - 0.05) / RADIUS
    made = with_plug(ball, np.zeros(3), rings, tip, 2.0, 4.0)
    assert volume(made) == pytest.approx(4 / 3 * np.pi * RADIUS**3, rel=1e-3)


def test_the_solid_between_two_domes_has_the_volume_of_the_spherical_sector():
    """2/3 pi (R^3 - r^3) (1 - cos a): the difference of two spherical sectors."""
    angles = np.linspace(0.02, 0.5, 40)
    solid = between_shells(rings_at(12.0, angles), rings_at(9.0, angles))
    assert is_watertight(solid)
    assert volume(solid) == pytest.approx(2 / 3 * np.pi * (12.0**3 - 9.0**3) * (1 - np.cos(0.5)), rel=2e-3)
