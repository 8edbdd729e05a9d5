"""Triangles listed by the cells of a grid they pass through, and how far every cell is from the next of them."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .measures import triangle_areas
from .mesh import Mesh

_MOST_CELLS, _A_TRIANGLE = 16_000_000, 64
"""Cells at most, in all and for each triangle: slivers are short, yet no grid fine enough for them pays."""


@dataclass(frozen=True, eq=False)
class Cells:
    """A grid over a mesh.

    Parameters
    ----------
    low : (3,) its low corner, millimetres
    size : edge of a cell, millimetres
    shape : (3,) cells along each axis
    first : (cells + 1,) int32 array: the triangles of cell c are `triangles[first[c]:first[c + 1]]`
    triangles : (k,) int32 array
    leap : (cells,) uint8 array: cells of a cube with so many less one on each side hold no triangle; 0 where one does
    """

    low: NDArray[np.float64]
    size: float
    shape: NDArray[np.int64]
    first: NDArray[np.int32]
    triangles: NDArray[np.int32]
    leap: NDArray[np.uint8]

    def united(self, bits: NDArray[np.uint32]) -> NDArray[np.uint32]:
        """(cells,) the bits of all the triangles in each cell, given those of each triangle."""
        filled = np.flatnonzero(np.diff(self.first))
        united = np.zeros(len(self.leap), np.uint32)
        united[filled] = np.bitwise_or.reduceat(bits[self.triangles], self.first[filled])
        return united


def cells_of(mesh: Mesh, per_edge: float = 1.5) -> Cells:
    """The grid of a mesh, cells about as large as even triangles of its area have edges, times `per_edge`."""
    from scipy.ndimage import distance_transform_cdt  # here: steps import this room when they are listed
    from scipy.sparse import csr_array

    corners = mesh.corners
    low, high = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
    # The edge of even triangles of the same area: of slivers, some edges are far longer and others far shorter.
    edge = float(1.52 * np.sqrt(triangle_areas(mesh).mean()))
    extent = high - low
    most = min(_MOST_CELLS, _A_TRIANGLE * len(corners) + 4096)
    least = float(np.cbrt(np.prod(np.maximum(extent, extent.max() / 100)) / most))
    size = max(edge * per_edge, least, float(extent.max()) / 500, 1e-9)
    low = low - size * 0.5
    shape = np.ceil((high - low) / size + 0.5).astype(np.int64)
    counts, cells = _passes(corners, low, size, shape)
    passed = csr_array(
        (np.ones(len(cells), np.int8), cells, np.concatenate([[0], np.cumsum(counts)]).astype(np.int32)),
        shape=(len(counts), int(shape.prod())),
    ).tocsc()  # turned over by counting: an order of magnitude quicker than a sort
    empty = (np.diff(passed.indptr) == 0).reshape(tuple(shape))
    leap = np.minimum(distance_transform_cdt(empty, "chessboard"), 255).astype(np.uint8).ravel()
    return Cells(low, size, shape, passed.indptr, passed.indices, leap)


def _passes(
    corners: NDArray[np.float64], low: NDArray[np.float64], size: float, shape: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.int32]]:
    """How many cells each triangle passes through, and which, triangle by triangle.

    They are the cells of its bounding box that its plane passes through.
    """
    local = (corners - low) / size
    a, b, c = local.transpose(1, 0, 2)
    lowest, highest = np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)
    start = np.maximum(np.floor(lowest - 1e-9).astype(np.int32), 0)
    last = np.minimum(np.floor(highest + 1e-9), shape - 1).astype(np.int32)
    span = last - start + 1
    normals = np.cross(b - a, c - a)
    reach = np.abs(normals).sum(axis=1) / 2 * (1 + 1e-9) + 1e-12
    middle = np.einsum("ij,ij->i", start + 0.5 - a, normals)  # the first cell's, over the plane
    strides = np.array([shape[1] * shape[2], shape[2], 1], dtype=np.int32)
    origin = start @ strides
    boxed = span.prod(axis=1, dtype=np.int64)
    counts, cells = np.empty(len(corners), np.int64), []
    for some in np.array_split(np.arange(len(corners)), max(1, int(boxed.sum()) // 1_000_000)):
        row = np.repeat(some, boxed[some])
        number = (np.arange(len(row)) - np.repeat(np.cumsum(boxed[some]) - boxed[some], boxed[some])).astype(np.int32)
        rest, z = np.divmod(number, span[row, 2])
        x, y = np.divmod(rest, span[row, 1])
        along = normals[row]
        height = middle[row] + x * along[:, 0] + y * along[:, 1] + z * along[:, 2]
        through = np.abs(height) <= reach[row]
        cells.append((origin[row] + x * strides[0] + y * strides[1] + z)[through])
        counts[some] = np.bincount(row[through] - some[0], minlength=len(some)) if len(some) else 0
    return counts, np.concatenate(cells)
