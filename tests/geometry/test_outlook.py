"""From where a place is seen: plain on a ball, a cup and a hollow ball."""

import numpy as np
import pytest
from canthus.geometry.printing.cavities import hollowed
from canthus.geometry.solids.booleans import difference
from canthus.geometry.solids.primitives import cylinder, sphere
from canthus.geometry.views.outlook import outlook

FRONT = np.array([0.0, -1.0, 0.0])


@pytest.mark.parametrize("place", [(10, 0, 0), (0, 0, -10), (0, 6, 8)])
def test_a_place_on_a_ball_is_looked_straight_at(place):
    way, seen = outlook(sphere(10, sag=0.05), np.array(place, float), FRONT)
    assert seen
    assert way @ np.array(place) / 10 > 0.9


def test_the_floor_of_a_pit_is_seen_through_its_mouth():
    pit = difference(cylinder((0, 0, 0), (0, 0, 20), 10, 0.05), cylinder((0, 0, 4), (0, 0, 21), 3, 0.05))
    way, seen = outlook(pit, np.array([0.0, 0.0, 4.0]), FRONT)
    assert seen
    assert way[2] > np.cos(np.arctan(3 / 16))


def test_what_lies_within_has_to_be_cut_open():
    shell = hollowed(sphere(10, sag=0.05), sphere(8, sag=0.05))
    way, seen = outlook(shell, np.array([0.0, 0.0, 7.9]), FRONT)
    assert not seen
    np.testing.assert_allclose(way, FRONT)
