"""The closest place on a mesh, exactly, for many points at once."""

import os
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from ..errors import BadMesh
from ..mesh import Mesh
from ..neighbours import tree_order
from .nearest_in_triangle import Frames
from .samples import Samples, samples_of

CHUNK = 16384
"""Points worked on at a time: their candidate triangles then stay in the processor's cache."""


class ClosestPoint:
    """Finds the closest place on a mesh for many points at once.

    Parameters
    ----------
    mesh : any mesh with at least one triangle; triangles of very uneven size cost memory, not exactness

    Notes
    -----
    A k-d tree of `samples` on the triangles proposes them, the nearest first, until the samples' bound holds; a
    triangle is only worked out where the disc round it comes nearer than the best so far.
    """

    def __init__(self, mesh: Mesh) -> None:
        if not len(mesh.triangles):
            raise BadMesh("there is no surface to measure to: the mesh has no triangles")
        self.mesh = mesh
        self._frames = Frames(mesh)
        self._samples: Samples = samples_of(mesh)
        self._tree = cKDTree(self._samples.points, leafsize=64)

    def query(
        self, points: NDArray[np.float64], far: float = np.inf
    ) -> tuple[NDArray[np.float64], NDArray[np.int32], NDArray[np.float64]]:
        """The closest place for each point.

        Parameters
        ----------
        points : (n, 3) array, millimetres
        far : where the distance is more than this, a place and distance that are near but not nearest will do

        Returns
        -------
        distance : (n,) float64, millimetres
        triangle : (n,) int32 row of the mesh's triangles
        point : (n, 3) float64, the closest place itself
        """
        points = np.ascontiguousarray(points, dtype=np.float64).reshape(-1, 3)
        squared = np.empty(len(points))
        triangle = np.empty(len(points), np.int32)
        place = np.empty_like(points)
        order = tree_order(points) if len(points) > CHUNK else np.arange(len(points))

        def work(start: int) -> None:
            rows = order[start : start + CHUNK]
            squared[rows], triangle[rows], place[rows] = self._closest(points[rows], far)

        with ThreadPoolExecutor(os.cpu_count() or 1) as pool:
            list(pool.map(work, range(0, len(points), CHUNK)))
        return np.sqrt(squared), triangle, place

    def _closest(
        self, points: NDArray[np.float64], far: float
    ) -> tuple[NDArray[np.float64], NDArray[np.int32], NDArray[np.float64]]:
        best = _Best(self._frames, points)
        left, asked = np.arange(len(points)), 8
        while len(left):
            asked = min(asked, len(self._samples.points))
            rounds = [self._ask(best, some, asked, far) for some in _portions(left, asked)]
            if asked == len(self._samples.points):
                break
            left, asked = np.concatenate(rounds), 4 * asked
        return best.squared, best.triangle, best.place

    def _ask(self, best: "_Best", rows: NDArray[np.int64], asked: int, far: float) -> NDArray[np.int64]:
        """Try the triangles on the nearest samples; the rows for which there may be closer ones still."""
        away, sample = self._tree.query(best.points.take(rows, axis=0), k=np.arange(1, asked + 1))
        if asked <= 8:  # the first time: what is on the nearest sample leaves little of the rest to try
            best.limit(rows, away[:, 0] ** 2 * (1 + 1e-9))
            best.try_likely(*self._on_samples(rows, sample[:, 0]))
        row, column = np.nonzero(away**2 < (best.squared[rows] + self._samples.radius**2)[:, None])
        best.try_likely(*self._on_samples(rows[row], sample[row, column]))
        bound = np.minimum(best.squared[rows], far * far) + self._samples.radius**2
        unsettled: NDArray[np.int64] = rows[away[:, -1] ** 2 < bound]
        return unsettled

    def _on_samples(
        self, rows: NDArray[np.int64], samples: NDArray[np.int64]
    ) -> tuple[NDArray[np.int64], NDArray[np.int32]]:
        """Each row with every triangle its sample lies on."""
        first = self._samples.first[samples]
        counts = self._samples.first[samples + 1] - first
        ends = np.cumsum(counts)
        number = np.arange(int(counts.sum())) - np.repeat(ends - counts - first, counts)
        return np.repeat(rows, counts), self._samples.triangles.take(number)


def _portions(rows: NDArray[np.int64], asked: int) -> list[NDArray[np.int64]]:
    return np.array_split(rows, max(1, len(rows) * asked // 250_000))


class _Best:
    """The best place found so far for each of some points."""

    def __init__(self, frames: Frames, points: NDArray[np.float64]) -> None:
        self._frames = frames
        self.points = points
        self.squared = np.full(len(points), np.inf)
        self.known = np.full(len(points), np.inf)
        self.triangle = np.zeros(len(points), np.int32)
        self.place = np.zeros_like(points)

    def limit(self, rows: NDArray[np.int64], squared: NDArray[np.float64]) -> None:
        """Let it be known that something lies within these squared distances of the rows."""
        self.known[rows] = np.minimum(self.known[rows], squared)

    def try_likely(self, row: NDArray[np.int64], triangle: NDArray[np.int32]) -> None:
        """Try pairs of point and triangle, leaving out triangles that cannot reach as near as what is known."""
        likely = self._frames.nearest_possible(self.points.take(row, axis=0), triangle) <= self.known[row]
        # Neighbouring samples propose the same triangles: each pair is worked out once.
        keys = np.sort(row[likely] * np.int64(self._frames.count) + triangle[likely])
        keys = keys[np.diff(keys, prepend=-1) != 0]  # np.unique hashes first, which takes longer
        row, triangle = keys // self._frames.count, (keys % self._frames.count).astype(np.int32)
        if not len(row):
            return
        squared, place = self._frames.closest(self.points.take(row, axis=0), triangle)
        starts = np.flatnonzero(np.diff(row, prepend=-1))
        least = np.minimum.reduceat(squared, starts)
        better = np.flatnonzero(squared == np.repeat(least, np.diff(starts, append=len(row))))
        better = better[np.diff(row[better], prepend=-1) != 0]  # of equal ones the first triangle
        better = better[squared[better] < self.squared[row[better]]]
        at = row[better]
        self.squared[at], self.triangle[at], self.place[at] = squared[better], triangle[better], place[better]
        self.limit(at, self.squared[at])
