"""Where rays first meet a mesh."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..errors import BadMesh
from ..mesh import Mesh
from ..portions import in_portions
from .cells import BLOCK, Cells, cell_size, cells_of
from .facings import along_bits, facing_bits
from .grid_walk import GridWalk

_CHUNK = 50_000
"""Rays that one thread walks together."""
_PER_EDGE = 1.5
"""Edge of a cell over that of an even triangle. Grid and rays, of 489,000 triangles of a head and 68,000 rays into it,
take 0.35 s of a processor at 1, 0.29 at 1.5 and 2, 0.34 at 3: finer cells are slow to fill, wider ones hold more."""
_TRIED = 16_000
"""Rays tried at once: what is looked up for them then stays in the cache."""
Vectors = NDArray[np.float64]
Reals = NDArray[np.float32]
Rows = NDArray[np.int64]


class RayCaster:
    """Casts many rays at a mesh at once.

    Notes
    -----
    All rays walk a grid of cells in step and are tried against the triangles of each cell they come through (Moeller
    and Trumbore 1997, doi 10.1080/10867651.1997.10487468), until one is hit. Cells, and a first trial that lets through
    whatever could be met, are reckoned in 32 bits; what is met and where, in 64.
    """

    def __init__(self, mesh: Mesh) -> None:
        if not len(mesh.triangles):
            raise BadMesh("there is nothing for a ray to meet: the mesh has no triangles")
        self._vertices = mesh.vertices
        self._corners = [np.ascontiguousarray(mesh.triangles[:, corner]) for corner in range(3)]
        lowest = mesh.vertices.min(axis=0)
        local = [np.ascontiguousarray(column, np.float32) for column in (mesh.vertices - lowest).T]
        columns = [[column.take(corner) for column in local] for corner in self._corners]
        edges = [[b - a for a, b in zip(columns[0], other, strict=True)] for other in columns[1:]]
        across = _across(*edges)
        size = cell_size(columns, across, _PER_EDGE)
        for column in columns[0] + columns[1] + columns[2]:
            column *= np.float32(1 / size)
            column += np.float32(0.5)
        for edge in edges[0] + edges[1]:
            edge *= np.float32(1 / size)
        self._cells: Cells = cells_of(columns, lowest - size / 2, size)
        self._table = np.stack([*columns[0], *edges[0], *edges[1], _slacks(*edges)], axis=1)
        self._facings = self._cells.united(facing_bits(across))

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

        def work(rows: slice) -> None:
            ways = [np.ascontiguousarray(column) for column in directions[rows].T]
            lengths = np.sqrt(ways[0] ** 2 + ways[1] ** 2 + ways[2] ** 2)
            lengths[lengths == 0] = 1.0
            starts = [np.ascontiguousarray(column) for column in origins[rows].T]
            rays = _Rays(starts, [way / lengths for way in ways], spared[rows], distance[rows], triangle[rows])
            self._walk(rays, farthest, leaving)

        in_portions(len(origins), _CHUNK, work)
        return distance, triangle

    def _walk(self, rays: "_Rays", farthest: float, leaving: bool) -> None:
        """Fill the rays' `distance` and `triangle`, rows of the caller's own."""
        low, size = self._cells.low, self._cells.size
        skipped = self._skipped(rays)
        start = [
            ((at + skipped * way - below) / size).astype(np.float32)
            for at, way, below in zip(rays.origins, rays.ways, low, strict=True)
        ]
        left = np.minimum((farthest - skipped) / size, 3e38).astype(np.float32)
        walk = GridWalk(self._cells, start, [way.astype(np.float32) for way in rays.ways], left)
        forward = along_bits(rays.ways) if leaving else None
        while len(walk):
            here, number = walk.with_triangles()
            if forward is not None:
                both = self._facings.take(number) & forward.take(walk.row.take(here))
                here, number = here[both != 0], number[both != 0]
            for begin in range(0, len(here), _TRIED):
                some = slice(begin, begin + _TRIED)
                self._try(rays, walk, here[some], number[some], skipped, leaving)
            walk.on()
        beyond = rays.distance > farthest
        rays.distance[beyond], rays.triangle[beyond] = np.inf, -1

    def _skipped(self, rays: "_Rays") -> Vectors:
        """How far each ray goes before it can come to the grid: 32 bits would not tell cells apart from far away."""
        extent = self._cells.blocks * BLOCK * self._cells.size
        middle = self._cells.low + extent / 2
        along = sum((to - at) * way for at, way, to in zip(rays.origins, rays.ways, middle, strict=True))
        skipped: Vectors = np.maximum(along - np.linalg.norm(extent) / 2, 0.0)
        return skipped

    def _try(self, rays: "_Rays", walk: GridWalk, here: Rows, number: Rows, skipped: Vectors, leaving: bool) -> None:
        """Try rays of the walk against the triangles of the cells they are in, keeping the nearest hit."""
        first = self._cells.first.take(number).astype(np.int64)
        counts = self._cells.first.take(number + 1) - first
        which = np.repeat(np.arange(len(here)), counts)
        entry = np.arange(len(which)) + (first + counts - np.cumsum(counts)).take(which)
        candidate = self._cells.triangles.take(entry)
        at, way = ([each.take(which) for each in columns] for columns in walk.places(here))
        likely = np.flatnonzero(
            _may_meet(np.ascontiguousarray(self._table.take(candidate, axis=0).T), at, way, leaving)
        )
        tried, candidate = here.take(which.take(likely)), candidate.take(likely)
        ray = walk.row.take(tried)
        met, far = self._meets(rays, ray, candidate, leaving)
        met &= candidate != rays.spared.take(ray)
        ray, candidate, far = ray[met], candidate[met], far[met]
        np.minimum.at(rays.distance, ray, far)
        nearest = far == rays.distance.take(ray)
        rays.triangle[ray[nearest]] = candidate[nearest]
        walk.end(tried[met], ((rays.distance.take(ray) - skipped.take(ray)) / self._cells.size).astype(np.float32))

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


def _slacks(along: list[Reals], beside: list[Reals]) -> Reals:
    """By how much rounding to 32 bits may shift what `_may_meet` compares, for each triangle, in square cells."""
    longest = np.maximum(sum(each * each for each in along), sum(each * each for each in beside))
    slacks: Reals = np.float32(1e-4) * (1 + np.sqrt(longest)) ** 2
    return slacks


def _across(along: list[Reals], beside: list[Reals]) -> list[Reals]:
    """Columns of the triangles' normals, of any length."""
    (ax, ay, az), (bx, by, bz) = along, beside
    return [ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx]


def _may_meet(triangles: Reals, at: list[Reals], way: list[Reals], leaving: bool) -> NDArray[np.bool_]:
    """Whether rays near triangles could meet those paired with them, for all that 32 bits tell.

    Parameters
    ----------
    triangles : (10, n) a corner, two edges from there, and the slack
    at, way : three columns each, (n,)
    leaving : only where the triangle looks the way the ray goes
    """
    cx, cy, cz, ex, ey, ez, fx, fy, fz, slack = triangles
    (ox, oy, oz), (dx, dy, dz) = at, way
    ox, oy, oz = ox - cx, oy - cy, oz - cz
    px, py, pz = dy * fz - dz * fy, dz * fx - dx * fz, dx * fy - dy * fx
    signed = ex * px + ey * py + ez * pz
    flip = np.copysign(np.float32(1), signed)
    u = (ox * px + oy * py + oz * pz) * flip
    v = (dx * (oy * ez - oz * ey) + dy * (oz * ex - ox * ez) + dz * (ox * ey - oy * ex)) * flip
    may: NDArray[np.bool_] = (u >= -slack) & (v >= -slack) & (u + v <= signed * flip + slack)
    return may & (signed <= slack) if leaving else may


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
