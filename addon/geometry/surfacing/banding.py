"""Following a surface through the cells of a grid, so that a field is asked only where the surface passes."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..bricks import CELL_CORNERS
from ..errors import NotPossible
from ..neighbours import morton_codes
from ..portions import from_portions


@dataclass(frozen=True, eq=False)
class Band:
    """Nodes of a grid, (n, 3) int, and the field's values there."""

    nodes: NDArray[np.int64]
    values: NDArray[np.float64]


def followed(
    cells: NDArray[np.int64],
    field: Callable[[NDArray[np.int64]], NDArray[np.float64]],
    rounds: int = 2000,
    known: Band | None = None,
) -> Band:
    """The band of nodes around the zero set of a field, grown from some cells until the surface does not leave it.

    Parameters
    ----------
    cells : (m, 3) int array, cells to start from; repeated ones do no harm
    field : gives the values at (n, 3) nodes of the grid
    rounds : growing rings at most
    known : a band followed before; the surface is only followed on from the cells, and the whole is given back

    Returns
    -------
    Band, ready for `isosurface_of_band`.

    Raises
    ------
    NotPossible
        The surface still grows after so many rounds: the field has no bounded zero set.
    """
    grid = _Numbers(cells)
    nodes, values = np.empty(0, np.int64), np.empty(0)
    if known is not None:
        nodes, values = _sorted(grid.of(known.nodes), known.values)
    before, have = nodes, np.empty(0, np.int64)

    def held(cells: NDArray[np.int64]) -> NDArray[np.bool_]:
        """Which cells the surface was followed through already, now or before."""
        found = np.full(len(cells), len(before) > 0)
        for corner in grid.corner_offsets:
            found &= _within(cells + corner, before)
        return found | _within(cells, have)

    new = _distinct(grid.of(cells))
    new = new[~held(new)]
    for _ in range(rounds):
        have = _merged(have, new)
        corners = new
        for stride in grid.strides:  # axis by axis: two sorted lists are merged, where eight would have to be sorted
            corners = _distinct(np.concatenate([corners, corners + stride]))
        fresh = corners[~_within(corners, nodes)]
        found = np.empty(len(fresh))
        order = np.argsort(morton_codes(grid.indices(fresh)), kind="stable")
        found[order] = field(grid.indices(fresh[order]) + grid.low)
        place = np.searchsorted(nodes, fresh)
        nodes, values = np.insert(nodes, place, fresh), np.insert(values, place, found)
        entered = _entered(new, nodes, values, grid)
        new = entered[~held(entered)]
        if not len(new):
            return Band(grid.indices(nodes) + grid.low, values)
    raise NotPossible("the surface does not close: give normals that agree, or remove far strays first")


class _Numbers:
    """One number for each cell or node of a box of 2**20 a side about the starting cells."""

    def __init__(self, cells: NDArray[np.int64]) -> None:
        self.low = (cells.min(axis=0) - 2**18) // 2 * 2  # even, so that blocks of two nodes follow each other
        self.strides = np.array([2**40, 2**20, 1], dtype=np.int64)
        self.corner_offsets = CELL_CORNERS @ self.strides

    def of(self, cells: NDArray[np.int64]) -> NDArray[np.int64]:
        numbers: NDArray[np.int64] = (cells - self.low) @ self.strides
        return numbers

    def indices(self, numbers: NDArray[np.int64]) -> NDArray[np.int64]:
        return np.stack([numbers >> 40, numbers >> 20 & (2**20 - 1), numbers & (2**20 - 1)], axis=1)


def _entered(
    cells: NDArray[np.int64],
    known: NDArray[np.int64],
    values: NDArray[np.float64],
    grid: _Numbers,
) -> NDArray[np.int64]:
    """Cells that the surface enters through a face of the given ones, ascending."""

    def look(part: slice) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
        """Of a portion of the cells those that the surface passes through, and which of their corners are inside."""
        some = cells[part]
        inside = np.empty((len(some), 8), bool)
        for bits in range(4):  # the upper node of each pair along z is the next in the sorted list
            lower = np.searchsorted(known, some + grid.corner_offsets[bits])
            inside[:, bits], inside[:, bits + 4] = below[lower], below[lower + 1]
        crossed = np.flatnonzero(inside.any(axis=1) & ~inside.all(axis=1))
        return some[crossed], inside[crossed]

    below = values < 0
    told = from_portions(len(cells), 32_768, look)
    cells, inside = (np.concatenate([each[k] for each in told]) for k in (0, 1))
    entered = []
    for axis in range(3):
        for side in (0, 1):
            face = inside[:, [bits for bits in range(8) if bits >> axis & 1 == side]]
            through = face.any(axis=1) & ~face.all(axis=1)
            entered.append(cells[through] + (grid.strides[axis] if side else -grid.strides[axis]))
    return _distinct(np.concatenate(entered))


def _sorted(numbers: NDArray[np.int64], values: NDArray[np.float64]) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Numbers ascending and the values that go with them; as they are where they ascend already."""
    if (numbers[1:] > numbers[:-1]).all():
        return numbers, values
    order = np.argsort(numbers)
    return numbers[order], values[order]


def _distinct(numbers: NDArray[np.int64]) -> NDArray[np.int64]:
    """The distinct numbers, ascending. `np.unique` hashes first from numpy 2.3 on, which takes five times as long."""
    ordered = np.sort(numbers, kind="stable")  # which takes no longer than a merge where sorted lists follow each other
    kept = np.ones(len(ordered), bool)
    kept[1:] = ordered[1:] != ordered[:-1]
    distinct: NDArray[np.int64] = ordered[kept]
    return distinct


def _within(numbers: NDArray[np.int64], sorted_numbers: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Which of the numbers stand in a sorted list."""
    if not len(sorted_numbers):
        return np.zeros(len(numbers), bool)
    place = np.minimum(np.searchsorted(sorted_numbers, numbers), len(sorted_numbers) - 1)
    held: NDArray[np.bool_] = sorted_numbers[place] == numbers
    return held


def _merged(one: NDArray[np.int64], other: NDArray[np.int64]) -> NDArray[np.int64]:
    """Two sorted lists without common members as one."""
    return np.insert(one, np.searchsorted(one, other), other)
