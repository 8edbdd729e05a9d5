"""Which of many boxes overlap."""

import numpy as np
from numpy.typing import NDArray

from ..neighbours import tree_order

PORTION = 16_384
"""Pairs looked at together."""


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
    levels = _joined(np.concatenate([low, high], axis=1)[order])
    first = second = np.zeros(1, np.int32)
    for boxes in levels[-2::-1]:
        parts = [_meeting(boxes, *part) for part in _portions(*_opened(first, second))]
        first, second = (np.concatenate([part[k] for part in parts]) for k in (0, 1))
    apart = first != second
    pairs: NDArray[np.int32] = np.sort(np.stack([order[first[apart]], order[second[apart]]], axis=1), axis=1)
    return pairs


def _joined(boxes: NDArray[np.float64]) -> list[NDArray[np.float64]]:
    """The boxes, then boxes round each two of them, and so on up to a single one. Odd ends get an empty box."""
    levels = [boxes]
    while len(boxes) > 1:
        if len(boxes) % 2:
            boxes = np.vstack([boxes, np.repeat([np.inf, -np.inf], 3)])
            levels[-1] = boxes
        one, other = boxes[::2], boxes[1::2]
        boxes = np.concatenate([np.minimum(one[:, :3], other[:, :3]), np.maximum(one[:, 3:], other[:, 3:])], axis=1)
        levels.append(boxes)
    return levels


def _portions(*columns: NDArray[np.int32]) -> list[list[NDArray[np.int32]]]:
    """The pairs in portions whose boxes fit into the processor's cache."""
    starts = range(0, len(columns[0]), PORTION)
    return [[column[start : start + PORTION] for column in columns] for start in starts]


def _meeting(
    boxes: NDArray[np.float64], first: NDArray[np.int32], second: NDArray[np.int32]
) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """The pairs whose boxes touch or overlap."""
    one, other = boxes.take(first, axis=0), boxes.take(second, axis=0)
    meet = np.ones(len(first), bool)
    for axis in range(3):
        meet &= (one[:, axis] <= other[:, axis + 3]) & (other[:, axis] <= one[:, axis + 3])
    return first[meet], second[meet]


def _opened(first: NDArray[np.int32], second: NDArray[np.int32]) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """Every pair as the pairs of its halves; a box paired with itself as both halves and the two together."""
    same = first == second
    own, a, b = 2 * first[same], 2 * first[~same], 2 * second[~same]
    return (
        np.concatenate([own, own, own + 1, a, a, a + 1, a + 1]),
        np.concatenate([own, own + 1, own + 1, b, b + 1, b, b + 1]),
    )
