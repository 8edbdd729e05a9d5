"""Triangles over rings of vertices, each of as many, ring after ring: walls, bodies turned about an axis, domes."""

import numpy as np
from numpy.typing import NDArray


def band(low: int, high: int, around: int) -> NDArray[np.int64]:
    """(2 around, 3) triangles of the wall between two closed rings of `around` vertices, given each ring's first.

    They face outwards where both rings run counter-clockwise seen from above, and `high` lies over `low`.
    """
    here = np.arange(around)
    ahead = np.roll(here, -1)
    one, other = [low + here, low + ahead, high + ahead], [low + here, high + ahead, high + here]
    return np.concatenate([np.column_stack(one), np.column_stack(other)])


def turned_rings(rims: int, around: int) -> NDArray[np.int32]:
    """Triangles of a body of rings one over another, closed by a vertex at its foot, numbered next, and one on top."""
    here = np.arange(around)
    ahead = np.roll(here, -1)
    first, last = rims * around, rims * around + 1
    parts = [np.column_stack([np.full(around, first), ahead, here])]
    parts += [band(rim * around, (rim + 1) * around, around) for rim in range(rims - 1)]
    top = (rims - 1) * around
    parts.append(np.column_stack([top + here, top + ahead, np.full(around, last)]))
    triangles: NDArray[np.int32] = np.concatenate(parts).astype(np.int32)
    return triangles


def dome(rings: int, count: int) -> NDArray[np.int64]:
    """(t, 3) triangles of rings of `count` vertices about a tip, which is numbered last, seen from outside."""
    here = np.arange(count)
    ahead = np.roll(here, -1)
    parts = [np.column_stack([np.full(count, rings * count), here, ahead])]
    for ring in range(rings - 1):
        low, high = ring * count, (ring + 1) * count
        parts.append(np.column_stack([low + here, high + here, high + ahead]))
        parts.append(np.column_stack([low + here, high + ahead, low + ahead]))
    return np.concatenate(parts)
