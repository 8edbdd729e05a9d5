"""Rows that belong to groups by number: summed up over each group, and counted out for each."""

from typing import Any

import numpy as np
from numpy.typing import NDArray


def summed(
    groups: NDArray[np.integer[Any]], values: NDArray[np.floating[Any]], count: int | None = None
) -> NDArray[np.float64]:
    """(count, d) sums of vectors over each group, zero where there is none of it.

    Parameters
    ----------
    groups : (n,) the number of the group each vector belongs to
    values : (n, d) the vectors
    count : how many groups there are; one more than the greatest number where it is None
    """
    size = int(groups.max(initial=-1)) + 1 if count is None else count
    sums: NDArray[np.float64] = np.stack([np.bincount(groups, column, size) for column in values.T], axis=1)
    return sums


def counted_out(counts: NDArray[np.integer[Any]]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """So many entries for each of several groups, one group after another.

    Parameters
    ----------
    counts : (k,) how many entries each group has, 0 or more

    Returns
    -------
    group, number : (n,) arrays: the group each entry belongs to, and its number in it from 0 on.
    """
    group = np.repeat(np.arange(len(counts)), counts)
    return group, np.arange(len(group)) - np.repeat(np.cumsum(counts) - counts, counts)
