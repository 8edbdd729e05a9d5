"""Triangles listed by the cells of a grid they may pass through, with the empty room between them in blocks."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..groups import counted_out

BLOCK = 4
"""Cells along the side of a block."""
SLACK = 1e-3
"""Share of a cell by which a triangle is taken for larger, so that 32-bit rounding loses none."""
_MOST_CELLS = 500
"""Cells along the longest side at most."""
_LONG, _BOXED = 8, 8
"""Cells along a triangle from which it counts as a large one, and cells of such ones' boxes at most, a triangle."""

Numbers = NDArray[np.int32]
Reals = NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Cells:
    """A grid over a mesh. Cells are kept only where a block has triangles in it.

    Parameters
    ----------
    low : (3,) its low corner, millimetres
    size : edge of a cell, millimetres
    blocks : (3,) blocks along each axis
    number : (blocks,) int32 array, the block's number among those with triangles; of an empty one, minus the steps to
        the nearest with triangles, across edges and corners too
    first : (cells kept + 1,) int32 array: cell c holds entries first[c] to first[c + 1]; c is the block's number times
        BLOCK³ plus the cell's own within it
    triangles : (entries,) int32 array
    """

    low: NDArray[np.float64]
    size: float
    blocks: NDArray[np.int64]
    number: Numbers
    first: Numbers
    triangles: Numbers

    def united(self, bits: NDArray[np.uint32]) -> NDArray[np.uint32]:
        """(cells kept,) the bits of all the triangles in each cell, given those of each triangle."""
        filled = np.flatnonzero(self.first[1:] > self.first[:-1])
        united = np.zeros(len(self.first) - 1, np.uint32)
        united[filled] = np.bitwise_or.reduceat(bits.take(self.triangles), self.first[filled])
        return united


def cells_of(corners: list[list[Reals]], low: NDArray[np.float64], size: float) -> Cells:
    """The grid of a mesh.

    Parameters
    ----------
    corners : for each corner of the triangles its three columns, in cells from `low`, from half a cell up
    low : (3,) the grid's low corner, millimetres
    size : as `cell_size` gives it, millimetres
    """
    extent = [max(float(corner[axis].max()) for corner in corners) for axis in range(3)]
    blocks = np.ceil((np.array(extent) + 0.5) / BLOCK).astype(np.int64) + 1
    owners, cells = _passes(corners, blocks * BLOCK)
    x, y, z = cells
    block = (x >> 2) * np.int32(blocks[1] * blocks[2]) + (y >> 2) * np.int32(blocks[2]) + (z >> 2)
    filled = np.zeros(int(blocks.prod()), bool)
    filled[block] = True
    number = np.where(filled, np.cumsum(filled, dtype=np.int32) - 1, -_steps_to(filled, blocks)).astype(np.int32)
    kept = int(filled.sum()) * BLOCK**3
    own = (number.take(block) << 6) | ((x & 3) << 4) | ((y & 3) << 2) | (z & 3)
    counts = np.bincount(own, minlength=kept)
    first = np.concatenate([[0], np.cumsum(counts)]).astype(np.int32)
    triangles = _sorted_by(own, owners, kept)
    return Cells(low, size, blocks, number, first, triangles)


def cell_size(corners: list[list[Reals]], normals: list[Reals], per_edge: float) -> float:
    """Edge of cells, millimetres, about as large as even triangles of the mesh's area have edges, times `per_edge`;
    larger where a few large triangles among very small ones would lie in too many of them.

    Parameters
    ----------
    corners : for each corner of the triangles its three columns, millimetres
    normals : the triangles' three columns, as long as twice their area
    per_edge : how much larger
    """
    doubled = np.sqrt(sum(column * column for column in normals))
    # The edge of even triangles of the same area: of slivers, some edges are far longer and others far shorter.
    edge = 1.52 * float(np.sqrt(doubled.mean(dtype=np.float64) / 2))
    extents, widest = [], 0.0
    for axis in range(3):
        low, high = _bounds(corners, axis)
        extents.append(high - low)
        widest = max(widest, float(high.max()) - float(low.min()))
    size = max(edge * per_edge, widest / _MOST_CELLS, 1e-9)
    long = np.maximum(np.maximum(*extents[:2]), extents[2]) > _LONG * size
    boxes = np.stack([extent[long] for extent in extents], axis=1).astype(np.float64)
    while (boxes / size + 1).prod(axis=1).sum() > _BOXED * len(doubled) + 1_000_000:
        size *= 1.3
    return size


def _bounds(corners: list[list[Reals]], axis: int) -> tuple[Reals, Reals]:
    """Where each triangle begins and ends along an axis."""
    one, two, three = (corner[axis] for corner in corners)
    return np.minimum(np.minimum(one, two), three), np.maximum(np.maximum(one, two), three)


def _sorted_by(keys: Numbers, values: Numbers, count: int) -> Numbers:
    """The values in the order of their keys, which are under `count`: by counting, which beats a sort many times."""
    from scipy.sparse import csr_array  # here: steps import this room when they are listed

    rows = np.arange(len(keys) + 1, dtype=np.int32)
    turned = csr_array((values, keys, rows), shape=(len(keys), count)).tocsc()
    ordered: Numbers = turned.data
    return ordered


def _steps_to(filled: NDArray[np.bool_], blocks: NDArray[np.int64]) -> Numbers:
    """From each block to the nearest filled one, steps across edges and corners counted as one."""
    reached = filled.reshape(blocks).copy()
    steps = np.zeros(blocks, np.int32)
    while not reached.all():
        steps += ~reached
        for axis in range(3):
            along = np.moveaxis(reached, axis, 0)  # a view: what is set in it is set
            before = along.copy()
            along[1:] |= before[:-1]
            along[:-1] |= before[1:]
    return steps.ravel()


def _passes(corners: list[list[Reals]], shape: NDArray[np.int64]) -> tuple[Numbers, tuple[Numbers, Numbers, Numbers]]:
    """Pairs of a triangle and a cell it may pass through: (k,) triangles, and x, y and z of the cells.

    They are the cells of its bounding box, for larger ones those that its plane passes through.
    """
    starts, spans = [], []
    for axis in range(3):
        low, high = _bounds(corners, axis)
        starts.append(np.maximum(low - np.float32(SLACK), 0).astype(np.int32))
        last = (high + np.float32(SLACK)).astype(np.int32)
        spans.append(np.minimum(last, np.int32(shape[axis] - 1)) - starts[-1])
    owners: list[Numbers] = []
    cells: list[tuple[Numbers, ...]] = []
    small = (spans[0] | spans[1] | spans[2]) <= 1
    pattern = np.where(small, spans[0] * 4 + spans[1] * 2 + spans[2], 8)
    for way in range(8):  # within two cells along each axis: no need to look closer
        rows = np.flatnonzero(pattern == way).astype(np.int32)
        x, y, z = (start.take(rows) for start in starts)
        for step in range(8):
            if step & ~way:
                continue
            owners.append(rows)
            cells.append((x + np.int32(step >> 2), y + np.int32(step >> 1 & 1), z + np.int32(step & 1)))
    for some in _portions(np.flatnonzero(pattern == 8), spans):
        own, found = _through_plane(some, corners, starts, spans)
        owners.append(own)
        cells.append(found)
    x, y, z = (np.concatenate([each[axis] for each in cells]) for axis in range(3))
    return np.concatenate(owners), (x, y, z)


def _portions(rows: NDArray[np.int64], spans: list[Numbers]) -> list[NDArray[np.int64]]:
    boxed = np.prod([span.take(rows).astype(np.int64) + 1 for span in spans], axis=0)
    return np.array_split(rows, max(1, int(boxed.sum()) // 1_000_000)) if len(rows) else []


def _through_plane(
    rows: NDArray[np.int64], corners: list[list[Reals]], starts: list[Numbers], spans: list[Numbers]
) -> tuple[Numbers, tuple[Numbers, Numbers, Numbers]]:
    """The cells of larger triangles' boxes that their planes pass through."""
    a, b, c = (np.stack([column.take(rows) for column in corner], axis=1).astype(np.float64) for corner in corners)
    start = np.stack([each.take(rows) for each in starts], axis=1)
    span = np.stack([each.take(rows) for each in spans], axis=1).astype(np.int64) + 1
    normals = np.cross(b - a, c - a)
    reach = np.abs(normals).sum(axis=1) * (0.5 + SLACK)
    middle = np.einsum("ij,ij->i", start + 0.5 - a, normals)  # the first cell's, over the plane
    row, number = counted_out(span.prod(axis=1))
    rest, z = np.divmod(number, span[row, 2])
    x, y = np.divmod(rest, span[row, 1])
    along = normals[row]
    through = np.abs(middle[row] + x * along[:, 0] + y * along[:, 1] + z * along[:, 2]) <= reach[row]
    row = row[through]
    x, y, z = (start[row, axis] + each[through].astype(np.int32) for axis, each in enumerate((x, y, z)))
    return rows[row].astype(np.int32), (x, y, z)
