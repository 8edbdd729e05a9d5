"""Cells of a grid: their corners, blocks of them, and the row each has in a list, found at once."""

import numpy as np
from numpy.typing import NDArray

CELL_CORNERS = np.array([[number >> axis & 1 for axis in range(3)] for number in range(8)], np.int64)
"""(8, 3) steps from a cell's first corner to each: bit 0 of its number leads along x, bit 1 along y, 2 along z."""


def block(*counts: int) -> NDArray[np.int64]:
    """(n, axes) all cells of a block with so many along each axis, counted from 0, the last axis running fastest."""
    return np.ascontiguousarray(np.indices(counts, np.int64).reshape(len(counts), -1).T)


class Bricks:
    """Looks up rows of a list of cells, or nodes, of a grid, by a table for every brick of eight cells a side.

    Parameters
    ----------
    cells : (n, 3) int array, any order, negative allowed; of cells named twice either row may be found

    Notes
    -----
    Memory goes with the bricks that hold a cell, and with the five hundredth part of the box around. A search in a
    sorted list takes five times as long.
    """

    def __init__(self, cells: NDArray[np.int64]) -> None:
        self._low = cells.min(axis=0) - 8
        self._shape = (cells.max(axis=0) - self._low + 16) >> 3  # a brick to spare on every side
        self._columns = np.ascontiguousarray((cells - self._low).T.astype(np.int32))
        brick, within = self._numbered(self._columns)
        held = np.zeros(int(np.prod(self._shape)), bool)
        held[brick] = True
        number = np.cumsum(held, dtype=np.int32)
        self._first = np.where(held, number, 0).astype(np.int32) << 9  # the first table, of no brick, stays empty
        self._rows = np.full((int(number[-1]) + 1) * 512, -1, np.int32)
        self._rows[self._first[brick] | within] = np.arange(len(cells), dtype=np.int32)

    def beside(self, some: NDArray[np.int64] | slice, offset: NDArray[np.int64]) -> NDArray[np.int32]:
        """(k,) the rows of the cells that lie `offset` (3,), at most 7 a side, from those in rows `some`; else -1."""
        moved = self._columns[:, some] + offset.astype(np.int32)[:, None]
        brick, within = self._numbered(moved)
        found: NDArray[np.int32] = self._rows[self._first[brick] | within]
        return found

    def of(self, cells: NDArray[np.int64]) -> NDArray[np.int32]:
        """(k,) the rows of cells (k, 3) anywhere, -1 where they are not in the list."""
        shifted = (cells - self._low).T
        outside = ((shifted < 0) | (shifted >= 8 * self._shape[:, None])).any(axis=0)
        brick, within = self._numbered(np.where(outside, 0, shifted).astype(np.int32))
        return np.where(outside, np.int32(-1), self._rows[self._first[brick] | within])

    def _numbered(self, columns: NDArray[np.int32]) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
        """The brick of each cell (3, k) and the place of the cell in it."""
        x, y, z = columns
        _, wide, deep = self._shape.astype(np.int32)
        return ((x >> 3) * wide + (y >> 3)) * deep + (z >> 3), (x & 7) << 6 | (y & 7) << 3 | (z & 7)
