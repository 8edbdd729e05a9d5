"""Triangles listed by the cells of a grid they pass through, and how far every cell is from the next of them."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .mesh import Mesh

_MOST_CELLS = 16_000_000


@dataclass(frozen=True, eq=False)
class Cells:
    """A grid over a mesh.

    Parameters
    ----------
    low : (3,) its low corner, millimetres
    size : edge of a cell, millimetres
    shape : (3,) cells along each axis
    first : (cells + 1,) int array: the triangles of cell c are `triangles[first[c]:first[c + 1]]`
    triangles : (k,) int32 array
    leap : (cells,) uint8 array: cells of a cube with so many less one on each side hold no triangle; 0 where one does
    """

    low: NDArray[np.float64]
    size: float
    shape: NDArray[np.int64]
    first: NDArray[np.int64]
    triangles: NDArray[np.int32]
    leap: NDArray[np.uint8]


def cells_of(mesh: Mesh, per_edge: float = 1.0) -> Cells:
    """The grid of a mesh, cells about as large as its edges are long times `per_edge`."""
    from scipy.ndimage import distance_transform_cdt  # here: steps import this room when they are listed

    corners = mesh.corners
    low, high = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
    edge = float(np.median(np.linalg.norm(corners[:, 1] - corners[:, 0], axis=1)))
    extent = high - low
    least = float(np.cbrt(np.prod(np.maximum(extent, extent.max() / 100)) / _MOST_CELLS))
    size = max(edge * per_edge, least, float(extent.max()) / 500, 1e-9)
    low = low - size * 0.5
    shape = np.ceil((high - low) / size + 0.5).astype(np.int64)
    cell, triangle = _passes(corners, low, size, shape)
    order = np.argsort(cell, kind="stable")
    first = np.searchsorted(cell[order], np.arange(int(shape.prod()) + 1))
    empty = (np.diff(first) == 0).reshape(tuple(shape))
    leap = np.minimum(distance_transform_cdt(empty, "chessboard"), 255).astype(np.uint8).ravel()
    return Cells(low, size, shape, first, triangle[order], leap)


def _passes(
    corners: NDArray[np.float64], low: NDArray[np.float64], size: float, shape: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.int32]]:
    """(cell, triangle) pairs: cells of the triangle's bounding box that its plane passes through."""
    local = (corners - low) / size
    start = np.floor(local.min(axis=1) - 1e-9).astype(np.int64)
    span = np.floor(local.max(axis=1) + 1e-9).astype(np.int64) - start + 1
    start = np.maximum(start, 0)
    normals = np.cross(local[:, 1] - local[:, 0], local[:, 2] - local[:, 0])
    reach = np.abs(normals).sum(axis=1) / 2 * (1 + 1e-9) + 1e-12
    counts = span.prod(axis=1)
    cells, triangles = [], []
    for some in np.array_split(np.arange(len(corners)), max(1, int(counts.sum()) // 4_000_000)):
        row = np.repeat(some, counts[some])
        number = np.arange(len(row)) - np.repeat(np.cumsum(counts[some]) - counts[some], counts[some])
        wide, deep = span[row, 2], span[row, 1]
        place = start[row] + np.stack([number // (wide * deep), number // wide % deep, number % wide], axis=1)
        place = np.minimum(place, shape - 1)
        height = np.einsum("ij,ij->i", place + 0.5 - local[row, 0], normals[row])
        through = np.abs(height) <= reach[row]
        cells.append(np.ravel_multi_index(tuple(place[through].T), tuple(shape)))
        triangles.append(row[through].astype(np.int32))
    return np.concatenate(cells), np.concatenate(triangles)
