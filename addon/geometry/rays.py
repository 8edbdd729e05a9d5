"""Where rays first meet a mesh."""

import os
from concurrent.futures import ThreadPoolExecutor
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from .cells import Cells, cells_of
from .errors import BadMesh
from .facings import along_bits, facing_bits
from .mesh import Mesh

CHUNK = 20_000
Vectors = NDArray[np.float64]


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
        normals = np.cross(b - a, c - a)
        self._balls = self._around(a, b, c, normals)
        self._facings = self._cells.united(facing_bits(normals))

    def _around(self, a: Vectors, b: Vectors, c: Vectors, normals: Vectors) -> NDArray[np.float32]:
        """(m, 8) of each triangle, in cells: middle and squared radius of a ball about it, normal, nothing."""
        middles = (a + b + c) / 3
        reach = np.sqrt(np.max([np.einsum("ij,ij->i", each - middles, each - middles) for each in (a, b, c)], axis=0))
        balls = np.zeros((len(a), 8), np.float32)
        balls[:, :3] = (middles - self._cells.low) / self._cells.size
        balls[:, 3] = (reach / self._cells.size * (1 + 1e-5) + 1e-3) ** 2  # what rounding to 32 bits can hide
        balls[:, 4:7] = normals / self._cells.size**2
        return balls

    def first_hit(
        self,
        origins: NDArray[np.float64],
        directions: NDArray[np.float64],
        ignoring: NDArray[np.int32] | None = None,
        farthest: float = np.inf,
        leaving: bool = False,
    ) -> tuple[NDArray[np.float64], NDArray[np.int32]]:
        """The first triangle each ray meets.

        Parameters
        ----------
        origins : (n, 3) array, millimetres
        directions : (n, 3) array; their lengths do not matter
        ignoring : (n,) a triangle that each ray passes through, such as the one it starts on; -1 for none
        farthest : millimetres beyond which nothing is looked for
        leaving : pass through triangles that face the ray, where it comes into the solid; else either side is met

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
            rays = _Rays(origins[rows], directions[rows], spared[rows], distance[rows], triangle[rows])
            self._walk(rays, farthest, leaving)

        with ThreadPoolExecutor(os.cpu_count() or 1) as pool:
            list(pool.map(work, range(0, len(origins), CHUNK)))
        return distance, triangle

    def _walk(self, rays: "_Rays", farthest: float, leaving: bool) -> None:
        """Fill the rays' `distance` and `triangle`, rows of the caller's own."""
        cells, distance = self._cells, rays.distance
        start = (rays.origins - cells.low) / cells.size
        ways = rays.directions
        inverse = 1.0 / np.where(np.abs(ways) > 1e-12, ways, np.where(ways < 0, -1e-12, 1e-12))
        gone, end = _through(start, inverse, np.zeros(3), cells.shape.astype(np.float64))
        gone = np.maximum(gone, 0.0)
        end = np.minimum(end, farthest / cells.size)
        row = np.flatnonzero(gone <= end)
        forward = along_bits(ways) if leaving else None
        while len(row):
            place = start.take(row, axis=0) + (gone[row] + 1e-7)[:, None] * ways.take(row, axis=0)
            cell = np.clip(np.floor(place).astype(np.int64), 0, cells.shape - 1)
            number = (cell[:, 0] * cells.shape[1] + cell[:, 1]) * cells.shape[2] + cell[:, 2]
            leap = cells.leap[number].astype(np.int64)
            room = np.maximum(leap - 1, 0)[:, None]
            _, onward = _through(start.take(row, axis=0), inverse.take(row, axis=0), cell - room, cell + room + 1)
            full = leap == 0
            if forward is not None:
                full[full] = self._facings[number[full]] & forward[row[full]] != 0
            self._try(rays, row[full], number[full], place[full].astype(np.float32), leaving)
            gone[row] = np.maximum(onward, gone[row] + 1e-7)
            row = row[(distance[row] > gone[row] * cells.size) & (gone[row] < end[row])]
        beyond = distance > farthest
        distance[beyond], rays.triangle[beyond] = np.inf, -1

    def _try(
        self,
        rays: "_Rays",
        row: NDArray[np.int64],
        number: NDArray[np.int64],
        place: NDArray[np.float32],
        leaving: bool,
    ) -> None:
        """Try rays against the triangles of the cells they are in, keeping the nearest hit."""
        first = self._cells.first[number]
        counts = self._cells.first[number + 1] - first
        ends = np.cumsum(counts)
        which = np.repeat(np.arange(len(row)), counts)
        candidate = self._cells.triangles.take(np.arange(len(which)) + np.repeat(first + counts - ends, counts))
        # Most triangles of a cell lie beside the ray: the ball round each is tried first, in half the precision.
        # (`take` gathers rows ten times as fast as an index does.)
        balls = self._balls.take(candidate, axis=0)
        ways = rays.directions.take(row, axis=0).astype(np.float32).take(which, axis=0)
        away = balls[:, :3] - place.take(which, axis=0)
        along = np.einsum("ij,ij->i", away, ways)
        likely = np.einsum("ij,ij->i", away, away) - along * along <= balls[:, 3]
        if leaving:
            likely &= np.einsum("ij,ij->i", balls[:, 4:7], ways) > 0
        ray, candidate = row[which[likely]], candidate[likely]
        met, far = _meets(
            self._table.take(candidate, axis=0), rays.origins.take(ray, axis=0), rays.directions.take(ray, axis=0)
        )
        met &= candidate != rays.spared[ray]
        ray, candidate, far = ray[met], candidate[met], far[met]
        order = np.argsort(-far, kind="stable")  # the nearest is written last and stays
        ray, candidate, far = ray[order], candidate[order], far[order]
        better = far < rays.distance[ray]
        rays.distance[ray[better]], rays.triangle[ray[better]] = far[better], candidate[better]


class _Rays(NamedTuple):
    """Some rays, and what they have met so far: views of rows of the caller's arrays."""

    origins: Vectors
    directions: Vectors
    spared: NDArray[np.int32]
    distance: NDArray[np.float64]
    triangle: NDArray[np.int32]


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
