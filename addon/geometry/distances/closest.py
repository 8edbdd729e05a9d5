"""The closest place on a mesh, exactly, for many points at once."""

from collections.abc import Iterable, Iterator

import numpy as np
from numpy.typing import NDArray

from ..errors import BadMesh
from ..mesh import Mesh
from ..neighbours import box_round, tree_order
from ..portions import from_portions, in_portions
from .balls import Balls, asking_rows, ball_rows
from .box_tree import BLOCK, Asked, BoxTree
from .clusters import cluster_boxes, cluster_order
from .columns import Reals, Rows, Singles, corner_columns
from .nearest_in_triangle import Frames, frame_columns
from .planes import plane_bound, plane_columns, with_rounding

_CHUNK = 16384
"""Points, or triangles, worked on at a time: what is known of them then stays in the processor's cache."""
_BUNCH = 50_000
"""Pairs of a point and a triangle judged together."""


class ClosestPoint:
    """Finds the closest place on a mesh for many points at once.

    Parameters
    ----------
    mesh : any mesh with at least one triangle; triangles of very uneven size cost time, not exactness

    Notes
    -----
    Points are taken in blocks of neighbours, triangles in clusters. A first triangle gives each point an upper bound.
    Then no cluster matters but those whose box comes within it of a point of the block; of their triangles, none but
    those whose ball does, and whose planes do. What is left, about one a point, is worked out in double precision.
    """

    def __init__(self, mesh: Mesh) -> None:
        if not len(mesh.triangles):
            raise BadMesh("there is no surface to measure to: the mesh has no triangles")
        self.mesh = mesh
        self._order = cluster_order(mesh)
        self._middle = np.sum(box_round(mesh.vertices), axis=0)[:, None] / 2  # single precision counts from here
        vertices, triangles = np.ascontiguousarray(mesh.vertices.T), mesh.triangles.take(self._order, axis=0)

        def tables(part: slice) -> tuple[Reals, Singles, Singles, Reals, Reals]:
            corners = corner_columns(vertices, triangles[part])
            frames = frame_columns(corners)
            a, b, c = (corner - self._middle for corner in corners)
            return frames, ball_rows((a, b, c)).T, plane_columns((a, b, c)), *cluster_boxes((a, b, c))

        parts = zip(*from_portions(len(self._order), _CHUNK, tables), strict=True)
        frames, balls, self._planes, low, high = (np.concatenate(part, axis=1) for part in parts)
        self._frames = Frames(frames)
        self._balls = Balls(np.ascontiguousarray(balls.T), (low + high) / 2)
        self._boxes = BoxTree(low, high)
        self._wide = 3 * float(np.median(np.linalg.norm(high - low, axis=0)))

    def query(self, points: Reals, far: float = np.inf) -> tuple[Reals, NDArray[np.int32], Reals]:
        """The closest place for each point.

        Parameters
        ----------
        points : (n, 3) array, millimetres
        far : where the distance is more than this, any other place that is as far will do

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
        order = tree_order(points)

        def work(part: slice) -> None:
            rows = order[part]
            whole = np.append(rows, np.repeat(rows[-1:], -len(rows) % BLOCK))
            found = self._closest(np.ascontiguousarray(points.take(whole, axis=0).T), far)
            squared[rows], triangle[rows], place[rows] = (each[: len(rows)] for each in found)

        in_portions(len(points), _CHUNK, work)
        return np.sqrt(squared), triangle, place

    def _closest(self, points: Reals, far: float) -> tuple[Reals, NDArray[np.int32], Reals]:
        """(n,) squared distance, (n,) triangle and (n, 3) closest place of (3, n) points in whole blocks."""
        centred = points - self._middle
        single = centred.astype(np.float32)
        best = self._first(centred)
        squared, place = self._frames.closest(points, best)
        for row, other in _bunched(self._met(centred, np.minimum(np.sqrt(squared), far))):
            bound = plane_bound(self._planes, other, single.take(row, axis=1))
            allowed = with_rounding(centred, np.minimum(np.sqrt(squared), far))
            likely = np.flatnonzero((bound <= allowed.take(row)) & (best.take(row) != other))
            row, other = row.take(likely), other.take(likely)
            theirs, places = self._frames.closest(points.take(row, axis=1), other)
            better = np.flatnonzero(theirs < squared.take(row))
            better = better.take(np.argsort(-theirs.take(better)))  # so that the nearest is written last
            at = row.take(better)
            squared[at], best[at], place[:, at] = theirs.take(better), other.take(better), places.take(better, axis=1)
        return squared, self._order.take(best), place.T

    def _first(self, points: Reals) -> Rows:
        """(n,) a triangle near each point, mostly the nearest one: that of the nearest ball near the point's block."""
        asking = asking_rows(points, 0.0).reshape(-1, BLOCK, 6)
        blocks = points.reshape(3, -1, BLOCK)
        low, high = blocks.min(axis=2), blocks.max(axis=2)
        wide = np.linalg.norm(high - low, axis=0) > self._wide
        found = np.empty(asking.shape[:2], np.int64)
        found[~wide] = self._balls.nearest(((low + high) / 2).T[~wide], asking[~wide])
        apart = self._balls.nearest(blocks[:, wide].reshape(3, -1).T, asking[wide].reshape(-1, 1, 6))
        found[wide] = apart.reshape(-1, BLOCK)
        return found.ravel()

    def _met(self, points: Reals, reach: Reals) -> Iterator[tuple[Rows, Rows]]:
        """Pairs of a point and a triangle whose ball comes within its reach."""
        asked, asking = Asked(points, reach), asking_rows(points, reach)
        together = np.ascontiguousarray(asking.reshape(-1, BLOCK, 6).transpose(0, 2, 1))
        for rows, clusters in self._boxes.near(asked):
            alone = rows >= asked.blocks
            yield from self._balls.met(together, rows[~alone], clusters[~alone])
            yield from self._balls.met(asking[:, :, None], rows[alone] - asked.blocks, clusters[alone])


def _bunched(pairs: Iterable[tuple[Rows, Rows]]) -> Iterator[tuple[Rows, Rows]]:
    """The same pairs in fewer, larger portions."""
    kept: list[tuple[Rows, Rows]] = []
    count = 0
    for pair in pairs:
        kept.append(pair)
        count += len(pair[0])
        if count >= _BUNCH:
            yield _joined(kept)
            kept, count = [], 0
    if kept:
        yield _joined(kept)


def _joined(pairs: list[tuple[Rows, Rows]]) -> tuple[Rows, Rows]:
    one, other = zip(*pairs, strict=True)
    return np.concatenate(one), np.concatenate(other)
