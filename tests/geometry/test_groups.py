"""Rows in groups, worked by hand."""

import numpy as np
import pytest
from canthus.geometry.groups import counted_out, summed


def test_vectors_are_summed_by_group():
    groups, values = np.array([3, 0, 3]), np.array([[1.0, 2.0], [10.0, 20.0], [0.5, 0.25]])
    wanted = [[10.0, 20.0], [0.0, 0.0], [0.0, 0.0], [1.5, 2.25]]
    np.testing.assert_array_equal(summed(groups, values), wanted)
    np.testing.assert_array_equal(summed(groups, values, 6), [*wanted, [0.0, 0.0], [0.0, 0.0]])


def test_an_ungrouped_number_is_refused():
    with pytest.raises(ValueError, match="negative"):
        summed(np.array([0, -1]), np.ones((2, 3)))


@pytest.mark.parametrize(
    ("counts", "group", "number"),
    [([2, 0, 3], [0, 0, 2, 2, 2], [0, 1, 0, 1, 2]), ([0, 0], [], []), ([], [], []), ([1], [0], [0])],
)
def test_entries_are_counted_out(counts, group, number):
    found = counted_out(np.array(counts, int))
    assert [each.tolist() for each in found] == [group, number]
