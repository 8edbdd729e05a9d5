"""Which of many boxes overlap."""

import numpy as np
from numpy.typing import NDArray

from .neighbours import tree_order


def overlapping(low: NDArray[np.float64], high: NDArray[np.float64]) -> NDArray[np.int32]:
    """(k, 2) pairs of boxes that touch or overlap, the lower number first, each pair once.

    Parameters
    ----------
    low, high : (n, 3) corners of the boxes

    Notes
    -----
    Boxes in the order of a space-filling curve, joined two by two up to one that holds all; pairs of joined boxes
    that overlap are opened level by level.
    """
    if len(low) < 2:
        return np.zeros((0, 2), np.int32)
    order = tree_order((low + high) / 2).astype(np.int32)
    levels = _joined(low[order], high[order])
    first = second = np.zeros(1, np.int32)
    for lows, highs in levels[-2::-1]:
        first, second = _opened(first, second)
        meet = (lows[first] <= highs[second]).all(axis=1) & (lows[second] <= highs[first]).all(axis=1)
        first, second = first[meet], second[meet]
    apart = first != second
    pairs: NDArray[np.int32] = np.sort(np.stack([order[first[apart]], order[second[apart]]], axis=1), axis=1)
    return pairs


def _joined(
    low: NDArray[np.float64], high: NDArray[np.float64]
) -> list[tuple[NDArray[np.float64], NDArray[np.float64]]]:
    """The boxes, then boxes round each two of them, and so on up to a single one. Odd ends get an empty box."""
    levels = [(low, high)]
    while len(low) > 1:
        if len(low) % 2:
            low, high = np.vstack([low, np.full(3, np.inf)]), np.vstack([high, np.full(3, -np.inf)])
            levels[-1] = (low, high)
        low, high = np.minimum(low[::2], low[1::2]), np.maximum(high[::2], high[1::2])
        levels.append((low, high))
    return levels


def _opened(first: NDArray[np.int32], second: NDArray[np.int32]) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """Every pair as the pairs of its halves; a box paired with itself as both halves and the two together."""
    same = first == second
    own, a, b = 2 * first[same], 2 * first[~same], 2 * second[~same]
    return (
        np.concatenate([own, own, own + 1, a, a, a + 1, a + 1]),
        np.concatenate([own, own + 1, own + 1, b, b + 1, b, b + 1]),
    )
