"""The way a part comes off, on forms where it is plain."""

import numpy as np
import pytest
from canthus.geometry.lifting.way_off import way_off
from canthus.geometry.solids.booleans import difference
from canthus.geometry.solids.primitives import box, cylinder, sphere

UP = np.array([0.0, 0.0, 1.0])
BALL = sphere(10.0, sag=0.02)


def cup(*cut):
    """A shell 1.4 mm thick that lies a twentieth off a ball, less some blocks."""
    return difference(sphere(11.45, sag=0.02), sphere(10.05, sag=0.02), *cut)


def test_half_a_shell_comes_off_square_to_its_rim():
    way, held = way_off(cup(box((-20, -20, -20), (20, 20, 0))), [BALL], UP)
    np.testing.assert_allclose(way, UP, atol=0.05)
    assert held < 0.002


@pytest.mark.parametrize("tilt", [0.4, 0.8])
def test_a_shell_that_reaches_round_a_side_comes_off_away_from_it(tilt):
    """A cap whose pole is tilted back comes off along its pole, whatever was asked for."""
    pole = np.array([0.0, np.sin(tilt), np.cos(tilt)])
    below = cylinder(-30 * pole, 0 * pole, 25.0, 0.1)
    way, held = way_off(cup(below), [BALL], UP)
    assert np.degrees(np.arccos(way @ pole)) < 8
    assert held < 0.005
    straight = way_off(cup(below), [BALL], -pole)
    assert straight[1] < 0.005  # not even when the opposite was asked for


def test_of_ways_as_good_the_one_asked_for_is_taken_and_what_lies_nowhere_is_free():
    small = cup(box((-20, -20, -20), (20, 20, 8)))  # a flat cap comes off in many ways
    np.testing.assert_allclose(way_off(small, [BALL], UP)[0], UP, atol=1e-9)
    way, held = way_off(sphere(2.0, (40, 0, 0), sag=0.02), [BALL], UP)
    np.testing.assert_array_equal(way, UP)
    assert held == 0.0
