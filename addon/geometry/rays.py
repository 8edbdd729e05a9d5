"""Where rays first meet a mesh."""

import os
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from numpy.typing import NDArray

from .cells import Cells, cells_of
from .errors import BadMesh
from .mesh import Mesh

CHUNK = 20_000


class RayCaster:
    """Casts many rays at a mesh at once.

    Notes
    -----
    All rays walk a grid of cells in step, over empty space in leaps, and are tried against the triangles of each cell
    they come through (Moeller and Trumbore 1997, doi 10.1080/10867651.1997.10487468), until one is hit.
    """

    def __init__(self, mesh: Mesh) -> None:
        if not len(mesh.triangles):
            raise BadMesh("there is nothing for a ray to meet: the mesh has no triangles")
        self._cells: Cells = cells_of(mesh)
        a, b, c = mesh.corners.transpose(1, 0, 2)
        self._table = np.concatenate([a, b - a, c - a], axis=1)

    def first_hit(
        self,
        origins: NDArray[np.float64],
        directions: NDArray[np.float64],
        ignoring: NDArray[np.int32] | None = None,
        farthest: float = np.inf,
    ) -> tuple[NDArray[np.float64], NDArray[np.int32]]:
        """The first triangle each ray meets, from either side.

        Parameters
        ----------
        origins : (n, 3) array, millimetres
        directions : (n, 3) array; their lengths do not matter
        ignoring : (n,) a triangle that each ray passes through, such as the one it starts on; -1 for none
        farthest : millimetres beyond which nothing is looked for

        Returns
        -------
        distance : (n,) float64, millimetres; infinite where nothing is met
        triangle : (n,) int32, -1 where nothing is met
        """
        origins = np.asarray(origins, dtype=np.float64).reshape(-1, 3)
        directions = np.asarray(directions, dtype=np.float64).reshape(-1, 3)
        lengths = np.linalg.norm(directions, axis=1, keepdims=True)
        directions = directions / np.where(lengths > 0, lengths, 1.0)
        spared = np.full(len(origins), -1, np.int32) if ignoring is None else np.asarray(ignoring, dtype=np.int32)
        distance = np.full(len(origins), np.inf)
        triangle = np.full(len(origins), -1, np.int32)

        def work(start: int) -> None:
            rows = slice(start, start + CHUNK)
            self._walk(origins[rows], directions[rows], spared[rows], farthest, distance[rows], triangle[rows])

        with ThreadPoolExecutor(os.cpu_count() or 1) as pool:
            list(pool.map(work, range(0, len(origins), CHUNK)))
        return distance, triangle

    def _walk(
        self,
        origins: NDArray[np.float64],
        directions: NDArray[np.float64],
        spared: NDArray[np.int32],
        farthest: float,
        distance: NDArray[np.float64],
        triangle: NDArray[np.int32],
    ) -> None:
        """Fill `distance` and `triangle`, the chunk's own rows."""
        cells = self._cells
        start = (origins - cells.low) / cells.size
        steep = np.where(np.abs(directions) > 1e-12, directions, np.where(directions < 0, -1e-12, 1e-12))
        inverse = 1.0 / steep
        gone, end = _through(start, inverse, np.zeros(3), cells.shape.astype(np.float64))
        gone = np.maximum(gone, 0.0)
        end = np.minimum(end, farthest / cells.size)
        row = np.flatnonzero(gone <= end)
        while len(row):
            place = start[row] + (gone[row] + 1e-7)[:, None] * directions[row]
            cell = np.clip(np.floor(place).astype(np.int64), 0, cells.shape - 1)
            number = (cell[:, 0] * cells.shape[1] + cell[:, 1]) * cells.shape[2] + cell[:, 2]
            leap = cells.leap[number].astype(np.int64)
            room = np.maximum(leap - 1, 0)[:, None]
            _, leaving = _through(start[row], inverse[row], cell - room, cell + room + 1)
            self._try(row, number, leap == 0, origins, directions, spared, distance, triangle)
            gone[row] = np.maximum(leaving, gone[row] + 1e-7)
            row = row[(distance[row] > gone[row] * cells.size) & (gone[row] < end[row])]
        beyond = distance > farthest
        distance[beyond], triangle[beyond] = np.inf, -1

    def _try(
        self,
        row: NDArray[np.int64],
        number: NDArray[np.int64],
        full: NDArray[np.bool_],
        origins: NDArray[np.float64],
        directions: NDArray[np.float64],
        spared: NDArray[np.int32],
        distance: NDArray[np.float64],
        triangle: NDArray[np.int32],
    ) -> None:
        """Try rays against the triangles of the cells they are in, keeping the nearest hit."""
        row, number = row[full], number[full]
        first = self._cells.first[number]
        counts = self._cells.first[number + 1] - first
        ends = np.cumsum(counts)
        ray = np.repeat(row, counts)
        candidate = self._cells.triangles[
            np.arange(int(counts.sum())) - np.repeat(ends - counts, counts) + np.repeat(first, counts)
        ]
        met, away = _meets(self._table[candidate], origins[ray], directions[ray])
        met &= candidate != spared[ray]
        ray, candidate, away = ray[met], candidate[met], away[met]
        order = np.argsort(-away, kind="stable")  # the nearest is written last and stays
        ray, candidate, away = ray[order], candidate[order], away[order]
        better = away < distance[ray]
        distance[ray[better]], triangle[ray[better]] = away[better], candidate[better]


def _through(
    start: NDArray[np.float64], inverse: NDArray[np.float64], low: NDArray[np.float64], high: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """How far along each ray it enters and leaves a box."""
    one, other = (low - start) * inverse, (high - start) * inverse
    return np.minimum(one, other).max(axis=1), np.maximum(one, other).min(axis=1)


def _meets(
    table: NDArray[np.float64], origins: NDArray[np.float64], directions: NDArray[np.float64]
) -> tuple[NDArray[np.bool_], NDArray[np.float64]]:
    """Whether each ray meets the triangle paired with it, ahead of its start, and how far away."""
    along, beside, offset = table[:, 3:6], table[:, 6:9], origins - table[:, :3]
    across = np.cross(directions, beside)
    determinant = np.einsum("ij,ij->i", along, across)
    scale = np.where(determinant == 0, np.inf, determinant)
    u = np.einsum("ij,ij->i", offset, across) / scale
    turned = np.cross(offset, along)
    v = np.einsum("ij,ij->i", directions, turned) / scale
    away = np.einsum("ij,ij->i", beside, turned) / scale
    slack = 1e-9  # a ray through an edge meets at least one of its two triangles
    met: NDArray[np.bool_] = (u >= -slack) & (v >= -slack) & (u + v <= 1 + slack) & (away >= 0) & (determinant != 0)
    return met, away
