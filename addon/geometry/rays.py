"""Where rays first meet a mesh."""

import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from .cells import BLOCK, Cells, cells_of, grid_over
from .errors import BadMesh
from .facings import along_bits, facing_bits
from .mesh import Mesh

CHUNK = 50_000
PER_EDGE = 1.5
_STEP = np.float32(2e-4)
"""Cells a ray is put past a face of the grid, so that 32-bit rounding does not hold it there: less than what triangles
are taken to be larger by."""
Vectors = NDArray[np.float64]
Reals = NDArray[np.float32]


class RayCaster:
    """Casts many rays at a mesh at once.

    Notes
    -----
    All rays walk a grid of cells in step, over empty room in blocks, and are tried against the triangles of each cell
    they come through (Moeller and Trumbore 1997, doi 10.1080/10867651.1997.10487468), until one is hit. Cells and the
    balls round triangles, tried first, are reckoned in 32 bits; what is met and where, in 64.
    """

    def __init__(self, mesh: Mesh) -> None:
        if not len(mesh.triangles):
            raise BadMesh("there is nothing for a ray to meet: the mesh has no triangles")
        self._vertices = mesh.vertices
        self._corners = [np.ascontiguousarray(mesh.triangles[:, corner]) for corner in range(3)]
        low, size = grid_over(mesh, PER_EDGE)
        local = [np.ascontiguousarray(column, np.float32) for column in ((mesh.vertices - low) / size).T]
        columns = [[column.take(corner) for column in local] for corner in self._corners]
        self._cells: Cells = cells_of(mesh, columns, low, size)
        one, two, three = columns
        self._balls = [ball.take(self._cells.triangles) for ball in _balls_round(one, two, three)]
        self._facings = self._cells.united(facing_bits(_normals(one, two, three)))

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
        spared = np.full(len(origins), -1, np.int32) if ignoring is None else np.asarray(ignoring, dtype=np.int32)
        distance = np.full(len(origins), np.inf)
        triangle = np.full(len(origins), -1, np.int32)

        def work(start: int) -> None:
            rows = slice(start, start + CHUNK)
            ways = [np.ascontiguousarray(column) for column in directions[rows].T]
            lengths = np.sqrt(ways[0] ** 2 + ways[1] ** 2 + ways[2] ** 2)
            lengths[lengths == 0] = 1.0
            starts = [np.ascontiguousarray(column) for column in origins[rows].T]
            rays = _Rays(starts, [way / lengths for way in ways], spared[rows], distance[rows], triangle[rows])
            self._walk(rays, farthest, leaving)

        with ThreadPoolExecutor(os.cpu_count() or 1) as pool:
            list(pool.map(work, range(0, len(origins), CHUNK)))
        return distance, triangle

    def _walk(self, rays: "_Rays", farthest: float, leaving: bool) -> None:
        """Fill the rays' `distance` and `triangle`, rows of the caller's own."""
        cells, distance = self._cells, rays.distance
        shape = [int(count) * BLOCK for count in cells.blocks]
        start = [((at - low) / cells.size).astype(np.float32) for at, low in zip(rays.origins, cells.low, strict=True)]
        ways = [way.astype(np.float32) for way in rays.ways]
        inverse = [1 / np.where(np.abs(way) > 1e-12, way, np.copysign(np.float32(1e-12), way)) for way in ways]
        gone, end = _through(
            start, inverse, [np.zeros(1, np.int32)] * 3, [np.array([side], np.int32) for side in shape]
        )
        gone = np.maximum(gone, 0)
        end = np.minimum(end, np.float32(min(farthest / cells.size, 3e38)))
        row = np.flatnonzero(gone <= end)
        forward = along_bits(rays.ways) if leaving else None
        while len(row):
            far = gone.take(row) + _STEP
            place = [at.take(row) + far * way.take(row) for at, way in zip(start, ways, strict=True)]
            cell = [np.clip(at, 0, side - 1).astype(np.int32) for at, side in zip(place, shape, strict=True)]
            side, number = self._room(cell)
            low = [each & -side for each in cell]
            box = [start_of.take(row) for start_of in start], [each.take(row) for each in inverse]
            onward = _through(*box, low, [each + side for each in low])[1]
            full = np.flatnonzero(number >= 0)
            if forward is not None:
                full = full[self._facings.take(number.take(full)) & forward.take(row.take(full)) != 0]
            if len(full):
                self._try(rays, ways, row.take(full), number.take(full), [at.take(full) for at in place], leaving)
            gone[row] = np.maximum(onward, far)
            after = gone.take(row)
            row = row[(distance.take(row) > after.astype(np.float64) * cells.size) & (after < end.take(row))]
        beyond = distance > farthest
        distance[beyond], rays.triangle[beyond] = np.inf, -1

    def _room(self, cell: list[NDArray[np.int32]]) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
        """How wide, in cells, the room of its kind is about each cell, and the number of one that holds triangles."""
        cells, (x, y, z) = self._cells, cell
        _, b, c = (int(count) for count in cells.blocks)
        block = cells.number.take((x >> 2) * np.int32(b * c) + (y >> 2) * np.int32(c) + (z >> 2))
        d, e = -(-b // BLOCK), -(-c // BLOCK)
        large = cells.large.take((x >> 4) * np.int32(d * e) + (y >> 4) * np.int32(e) + (z >> 4))
        number = (block << 6) | ((x & 3) << 4) | ((y & 3) << 2) | (z & 3)
        side = np.where(block >= 0, np.int32(1), np.where(large, np.int32(BLOCK), np.int32(BLOCK**2)))
        kept = np.where(block >= 0, number, 0)
        filled = (block >= 0) & (cells.first.take(kept + 1) > cells.first.take(kept))
        return side, np.where(filled, number, np.int32(-1))

    def _try(
        self,
        rays: "_Rays",
        ways: list[Reals],
        row: NDArray[np.int64],
        number: NDArray[np.int32],
        place: list[Reals],
        leaving: bool,
    ) -> None:
        """Try rays against the triangles of the cells they are in, keeping the nearest hit."""
        first = self._cells.first.take(number)
        counts = self._cells.first.take(number + 1) - first
        ends = np.cumsum(counts)
        which = np.repeat(np.arange(len(row)), counts)
        entry = np.arange(len(which)) + np.repeat(first + counts - ends, counts)
        # Most triangles of a cell lie beside the ray: the ball round each is tried first, in half the precision.
        along, squared = np.zeros(len(which), np.float32), np.zeros(len(which), np.float32)
        for middle, at, way in zip(self._balls[:3], place, ways, strict=True):
            away = middle.take(entry)
            away -= at.take(which)
            squared += away * away
            along += away * way.take(row).take(which)
        likely = np.flatnonzero(squared - along * along <= self._balls[3].take(entry))
        ray, candidate = row.take(which.take(likely)), self._cells.triangles.take(entry.take(likely))
        met, far = self._meets(rays, ray, candidate, leaving)
        met &= candidate != rays.spared.take(ray)
        ray, candidate, far = ray[met], candidate[met], far[met]
        np.minimum.at(rays.distance, ray, far)
        nearest = far == rays.distance.take(ray)
        rays.triangle[ray[nearest]] = candidate[nearest]

    def _meets(
        self, rays: "_Rays", ray: NDArray[np.int64], candidate: NDArray[np.int32], leaving: bool
    ) -> tuple[NDArray[np.bool_], NDArray[np.float64]]:
        """Whether each ray meets the triangle paired with it, ahead of its start, and how far away."""
        corners = [self._vertices.take(corner.take(candidate), axis=0).T for corner in self._corners]
        one, two, three = (np.ascontiguousarray(each) for each in corners)
        origin, way = ([column.take(ray) for column in columns] for columns in (rays.origins, rays.ways))
        return meets(one, two - one, three - one, origin, way, leaving)


class _Rays(NamedTuple):
    """Some rays, and what they have met so far: columns of origins and unit directions, and rows of the caller's."""

    origins: list[Vectors]
    ways: list[Vectors]
    spared: NDArray[np.int32]
    distance: NDArray[np.float64]
    triangle: NDArray[np.int32]


def _through(
    start: list[Reals],
    inverse: list[Reals],
    low: Sequence[NDArray[np.int32] | Reals],
    high: Sequence[NDArray[np.int32] | Reals],
) -> tuple[Reals, Reals]:
    """How far along each ray it enters and leaves a box."""
    enters, leaves = [], []
    for at, slope, near, beyond in zip(start, inverse, low, high, strict=True):
        one, other = (near - at).astype(np.float32) * slope, (beyond - at).astype(np.float32) * slope
        enters.append(np.minimum(one, other))
        leaves.append(np.maximum(one, other))
    return np.maximum(np.maximum(*enters[:2]), enters[2]), np.minimum(np.minimum(*leaves[:2]), leaves[2])


def _balls_round(one: list[Reals], two: list[Reals], three: list[Reals]) -> list[Reals]:
    """Of each triangle a ball about it: three columns of its middle, and its squared radius, in cells."""
    middles = [(a + b + c) / np.float32(3) for a, b, c in zip(one, two, three, strict=True)]
    x, y, z = middles
    first, second, third = ((a - x) ** 2 + (b - y) ** 2 + (c - z) ** 2 for a, b, c in (one, two, three))
    reach = np.sqrt(np.maximum(np.maximum(first, second), third))
    return [*middles, (reach * np.float32(1 + 1e-5) + np.float32(1e-3)) ** 2]  # what rounding to 32 bits can hide


def _normals(one: list[Reals], two: list[Reals], three: list[Reals]) -> list[Reals]:
    """Columns of the triangles' normals, of any length."""
    ax, ay, az = (b - a for a, b in zip(one, two, strict=True))
    bx, by, bz = (c - a for a, c in zip(one, three, strict=True))
    return [ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx]


def meets(
    corner: Vectors, along: Vectors, beside: Vectors, origin: list[Vectors], way: list[Vectors], leaving: bool = False
) -> tuple[NDArray[np.bool_], NDArray[np.float64]]:
    """Whether each ray meets the triangle paired with it, and how far away.

    Parameters
    ----------
    corner, along, beside : (3, n) columns of a corner of each triangle and of its two edges from there
    origin, way : three columns each, (n,)
    leaving : only where the triangle looks the way the ray goes
    """
    (ex, ey, ez), (fx, fy, fz), (dx, dy, dz) = along, beside, way
    ox, oy, oz = (at - low for at, low in zip(origin, corner, strict=True))
    px, py, pz = dy * fz - dz * fy, dz * fx - dx * fz, dx * fy - dy * fx
    determinant = ex * px + ey * py + ez * pz
    scale = np.where(determinant == 0, np.inf, determinant)
    u = (ox * px + oy * py + oz * pz) / scale
    qx, qy, qz = oy * ez - oz * ey, oz * ex - ox * ez, ox * ey - oy * ex
    v = (dx * qx + dy * qy + dz * qz) / scale
    away = (fx * qx + fy * qy + fz * qz) / scale
    slack = 1e-9  # a ray through an edge meets at least one of its two triangles
    met: NDArray[np.bool_] = (u >= -slack) & (v >= -slack) & (u + v <= 1 + slack) & (away >= 0) & (determinant != 0)
    return (met & (determinant < 0) if leaving else met), away
