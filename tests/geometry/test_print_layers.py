"""Layers, islands and suction cups on solids where the answer is plain."""

import numpy as np
import pytest
from canthus.geometry.printing.cavities import hollowed
from canthus.geometry.printing.print_layers import islands, layers_of, suction_cups
from canthus.geometry.solids.booleans import difference, union
from canthus.geometry.solids.primitives import box, cylinder, sphere

UP = np.array([0.0, 0, 1])


def test_layers_fill_the_volume():
    """A ball of radius 6 holds 904.7787 (reference values, section 8)."""
    layers = layers_of(sphere(6, (1, 2, 3), sag=0.01), UP, 0.1, 0.1)
    assert layers.solid.sum() * layers.pixel**2 * layers.layer == pytest.approx(904.7787, rel=5e-3)
    assert not layers.solid[:, [0, -1]].any()
    assert not layers.solid[:, :, [0, -1]].any()


def test_a_place_is_told_in_the_parts_own_frame():
    layers = layers_of(sphere(2, (5, -7, 11), sag=0.01), np.array([1.0, 0, 0]), 0.1, 0.1)
    level, row, column = (each.mean() for each in np.nonzero(layers.solid))
    np.testing.assert_allclose(layers.place(level, row, column), [5, -7, 11], atol=0.06)


def test_an_arm_that_hangs_is_an_island_where_it_starts():
    post = box((-1, -1, 0), (1, 1, 10))
    arm = union(box((0, -0.5, 7), (5, 0.5, 8)), box((4, -0.5, 4), (5, 0.5, 7.5)))
    (found,) = islands(layers_of(union(post, arm), UP, 0.1, 0.1))
    np.testing.assert_allclose(found.place, [4.5, 0, 4], atol=0.15)
    assert found.area == pytest.approx(1.0, abs=0.25)


def test_what_stands_on_the_plate_has_no_islands():
    assert islands(layers_of(box((0, 0, 0), (3, 3, 5)), UP, 0.1, 0.1)) == []


def test_a_bowl_is_a_cup_and_a_vent_takes_it_away():
    bowl = difference(cylinder((0, 0, 0), (0, 0, 8), 5, 0.01), cylinder((0, 0, 2), (0, 0, 9), 4, 0.01))
    (cup,) = suction_cups(layers_of(bowl, UP, 0.1, 0.1))
    assert cup.area == pytest.approx(np.pi * 16, rel=0.03)
    vented = difference(bowl, cylinder((0, 0, 3), (9, 0, 3), 1.0, 0.01))
    # Sealed only until the layer that holds the vent's foot: the well under it, no more than a few tenths deep.
    cups = suction_cups(layers_of(vented, UP, 0.1, 0.1))
    assert all(cup.place[2] < 2.2 for cup in cups)
    drained = difference(bowl, cylinder((0, 0, -1), (0, 0, 3), 1.0, 0.01))
    assert suction_cups(layers_of(drained, UP, 0.1, 0.1)) == []
    assert suction_cups(layers_of(bowl, -UP, 0.1, 0.1)) == []  # mouth to the plate: open from the start


def test_a_closed_hollow_is_a_cup():
    shell = hollowed(sphere(6, sag=0.02), sphere(4, sag=0.02))
    (cup,) = suction_cups(layers_of(shell, UP, 0.1, 0.1))
    assert cup.area == pytest.approx(np.pi * 16, rel=0.03)
