"""Rays that walk through the cells of a grid in step, over empty room in leaps."""

import numpy as np
from numpy.typing import NDArray

from .cells import BLOCK, Cells

Reals = NDArray[np.float32]
Numbers = NDArray[np.int32]
Rows = NDArray[np.int64]

_CROWDED = 0.75
"""Share of rays still under way below which the others are left out."""
_MARGIN = 0.25
"""Cells by which rays stay within the grid: its triangles lie half a cell within."""


class GridWalk:
    """Rays under way through a grid.

    A ray goes from room to room: a cell of a block that holds triangles, or as many blocks all round as are known to
    be empty. Where it comes in by a face it has crossed, its cell along that axis is the next one; along the others it
    follows from its place, held within the room it left. So rounding can hold no ray up, and it shifts none by more
    than triangles are taken larger by.

    Parameters
    ----------
    cells : Cells
    start, way : three (n,) float32 columns each, in cells; starts lie no farther off than the grid is large
    farthest : (n,) float32, cells along its way that each ray goes

    Attributes
    ----------
    row : (k,) which of the rays those still held are
    """

    def __init__(self, cells: Cells, start: list[Reals], way: list[Reals], farthest: Reals) -> None:
        self._cells = cells
        self._sides = (cells.blocks * BLOCK).tolist()
        self._up = [(~np.signbit(each)).astype(np.int32) for each in way]
        least = np.float32(1e-12)
        inverse = [1 / np.copysign(np.maximum(np.abs(each), least), each) for each in way]
        gone, end = self._across(start, inverse)
        self._start, self._way, self._inverse = start, way, inverse
        self._end = np.minimum(end, farthest)
        self._gone = np.maximum(gone, np.float32(0))
        self._cell = [
            np.clip(at + self._gone * each, 0, side - 1).astype(np.int32)
            for at, each, side in zip(start, way, self._sides, strict=True)
        ]
        self.row: Rows = np.arange(len(start[0]))
        self._alive = self._gone <= self._end
        self._thin_out(1.0)
        self._look_round()

    def __len__(self) -> int:
        return len(self.row)

    def with_triangles(self) -> tuple[Rows, Rows]:
        """The rays, among those held, that are in a cell with triangles, and the number of the cell."""
        here = np.flatnonzero(self._filled & self._alive)
        x, y, z = (each.take(here) for each in self._cell)
        number = (self._block.take(here).astype(np.int64) << 6) | ((x & 3) << 4) | ((y & 3) << 2) | (z & 3)
        first = self._cells.first
        holds = np.flatnonzero(first.take(number + 1) > first.take(number))
        return here.take(holds), number.take(holds)

    def places(self, some: Rows) -> tuple[list[Reals], list[Reals]]:
        """Of some of the rays held, where they came into their rooms and their ways: three columns each, in cells."""
        gone = self._gone.take(some)
        ways = [each.take(some) for each in self._way]
        return [at.take(some) + gone * way for at, way in zip(self._start, ways, strict=True)], ways

    def end(self, some: Rows, far: Reals) -> None:
        """Let some of the rays held go no farther than so many cells."""
        self._end[some] = np.minimum(self._end.take(some), far)

    def on(self) -> None:
        """Take every ray into its next room."""
        free, back = -self._block, 1 + self._block
        faces, leaves = [], []
        for cell, up, at, slope in zip(self._cell, self._up, self._start, self._inverse, strict=True):
            beyond = ((cell >> 2) + np.where(up, free, back)) << 2
            faces.append(np.where(self._filled, cell + up, beyond))
            leaves.append((faces[-1].astype(np.float32) - at) * slope)
        self._gone = np.minimum(np.minimum(leaves[0], leaves[1]), leaves[2])
        for axis, (face, up, leave) in enumerate(zip(faces, self._up, leaves, strict=True)):
            place = (self._start[axis] + self._gone * self._way[axis]).astype(np.int32)
            cell, last = self._cell[axis], face - up
            within = np.minimum(np.maximum(place, np.minimum(cell, last)), np.maximum(cell, last))
            self._cell[axis] = np.where(leave <= self._gone, face - 1 + up, within)
        self._alive = self._gone < self._end
        self._thin_out(_CROWDED)
        self._look_round()

    def _look_round(self) -> None:
        """Find the block that each ray is in, and whether it holds triangles."""
        x, y, z = self._cell
        _, wide, deep = (np.int32(count) for count in self._cells.blocks)
        # Rays that have ended may have left the grid.
        self._block = self._cells.number.take(((x >> 2) * wide + (y >> 2)) * deep + (z >> 2), mode="clip")
        self._filled = self._block >= 0

    def _across(self, start: list[Reals], inverse: list[Reals]) -> tuple[Reals, Reals]:
        """How far along each ray it enters and leaves the grid."""
        enters, leaves = [], []
        for at, slope, side in zip(start, inverse, self._sides, strict=True):
            near, far = np.float32(_MARGIN), np.float32(side - _MARGIN)
            low, high = (near - at) * slope, (far - at) * slope
            enters.append(np.minimum(low, high))
            leaves.append(np.maximum(low, high))
        return np.maximum(np.maximum(*enters[:2]), enters[2]), np.minimum(np.minimum(*leaves[:2]), leaves[2])

    def _thin_out(self, share: float) -> None:
        """Let go of the rays that have ended, once no more than a share of those held is still under way."""
        left = np.flatnonzero(self._alive)
        if len(left) > share * len(self.row) or len(left) == len(self.row):
            return
        self._start, self._way, self._inverse = (
            [each.take(left) for each in columns] for columns in (self._start, self._way, self._inverse)
        )
        self._up, self._cell = ([each.take(left) for each in columns] for columns in (self._up, self._cell))
        self._gone, self._end, self.row = self._gone.take(left), self._end.take(left), self.row.take(left)
        self._alive = np.ones(len(left), bool)
