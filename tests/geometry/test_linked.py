"""Pieces of a graph told by pairs."""

import math

import numpy as np
import pytest
from canthus.geometry.linked import linked_pieces


@pytest.mark.parametrize(("step", "other"), [(6, 4), (9, 6), (5, 3), (12, 12)])
def test_steps_along_the_numbers_reach_what_bezout_says(step, other):
    """Steps of a and b either way reach all numbers alike modulo gcd(a, b), and no others: Bezout's identity. In a
    stretch of a + b numbers and more no step leads out that is needed (from memory: the theorem of Fine and Wilf 1965).
    """
    count, greatest = 60, math.gcd(step, other)
    one = np.concatenate([np.arange(count - step), np.arange(count - other)])
    two = np.concatenate([np.arange(count - step) + step, np.arange(count - other) + other])
    np.testing.assert_array_equal(linked_pieces(one, two, count), np.arange(count) % greatest)


def test_a_pair_named_256_times_still_holds():
    """So many as a count in 8 bits comes back to 0 after."""
    pieces = linked_pieces(np.zeros(256, int), np.full(256, 2), 3)
    assert pieces.tolist() == [0, 1, 0]


def test_what_is_in_no_pair_is_a_piece_by_itself():
    assert linked_pieces(np.zeros(0, int), np.zeros(0, int), 3).tolist() == [0, 1, 2]
