"""How far points are from a mesh: the closest place on it, exactly, and on which side they lie."""

import os
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from .errors import BadMesh
from .mesh import Mesh
from .neighbours import tree_order
from .probes import Probes, probes_of

CHUNK = 16384
"""Points worked on at a time: their candidate triangles then stay in the processor's cache."""


class ClosestPoint:
    """Finds the closest place on a mesh for many points at once.

    Parameters
    ----------
    mesh : any mesh with at least one triangle; triangles of very uneven size cost memory, not exactness

    Notes
    -----
    A k-d tree of probes (a point or more in every triangle, and along sharp edges) proposes triangles. `probes`
    explains the bound that says when enough have been looked at; a point asks for four times as many until it holds.
    """

    def __init__(self, mesh: Mesh) -> None:
        if not len(mesh.triangles):
            raise BadMesh("there is no surface to measure to: the mesh has no triangles")
        self.mesh = mesh
        self._probes: Probes = probes_of(mesh)
        self._tree = cKDTree(self._probes.points, leafsize=32, balanced_tree=False)
        a, b, c = mesh.corners.transpose(1, 0, 2)
        self._frames = _Frames.of(a, b - a, c - a)

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
        count = len(self._probes.points)
        asked = min(8, count)
        squared, triangle, place, enough = self._among_nearest(points, asked, far)
        while asked < count and not enough.all():
            asked = min(4 * asked, count)
            left = np.flatnonzero(~enough)
            for some in np.array_split(left, max(1, len(left) * asked // 500_000)):
                squared[some], triangle[some], place[some], enough[some] = self._among_nearest(points[some], asked, far)
        return squared, triangle, place

    def _among_nearest(
        self, points: NDArray[np.float64], asked: int, far: float
    ) -> tuple[NDArray[np.float64], NDArray[np.int32], NDArray[np.float64], NDArray[np.bool_]]:
        """The best of the triangles that own the `asked` nearest probes, and whether no other can be closer."""
        away, probe = self._tree.query(points, k=np.arange(1, asked + 1))
        owners = self._probes.triangle[probe]
        best, triangle = owners[:, 0].copy(), owners[:, 0].copy()
        squared, place = self._frames.closest(points, best)
        # A triangle lies within a disc about its middle; only discs that reach inside the best so far are looked at.
        row, column = np.nonzero(away[:, 1:] - self._probes.reach[probe[:, 1:]] < np.sqrt(squared)[:, None])
        candidate = owners[row, column + 1]
        other = candidate != best[row]
        row, candidate = row[other], candidate[other]
        near, near_place = self._frames.closest(points[row], candidate)
        order = np.lexsort((near, row))
        row, candidate, near, near_place = row[order], candidate[order], near[order], near_place[order]
        first = np.flatnonzero(np.diff(row, prepend=-1))
        first = first[near[first] < squared[row[first]]]
        at = row[first]
        squared[at], triangle[at], place[at] = near[first], candidate[first], near_place[first]
        enough = away[:, -1] ** 2 >= self._probes.bound(np.minimum(squared, far * far))
        return squared, triangle, place, enough


class _Frames:
    """Per triangle what the closest place on it needs: a corner, two edges and their products."""

    def __init__(self, table: NDArray[np.float64]) -> None:
        self._table = table

    @classmethod
    def of(cls, corner: NDArray[np.float64], along: NDArray[np.float64], beside: NDArray[np.float64]) -> "_Frames":
        products = [np.einsum("ij,ij->i", *pair) for pair in ((along, along), (along, beside), (beside, beside))]
        return cls(np.column_stack([corner, along, beside, *products]))

    def closest(
        self, points: NDArray[np.float64], triangles: NDArray[np.int32]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """(n,) squared distance and (n, 3) closest place of each point on the triangle paired with it.

        Notes
        -----
        The regions of a triangle's plane as in Ericson, Real-Time Collision Detection (2005), section 5.1.5.
        """
        found = self._table[triangles]
        corner, along, beside = found[:, 0:3], found[:, 3:6], found[:, 6:9]
        aa, ab, bb = found[:, 9], found[:, 10], found[:, 11]
        offset = points - corner
        d1, d2 = np.einsum("ij,ij->i", along, offset), np.einsum("ij,ij->i", beside, offset)
        share = _shares(d1, d2, aa, ab, bb)
        foot = share[0][:, None] * along + share[1][:, None] * beside
        away: NDArray[np.float64] = offset - foot
        squared: NDArray[np.float64] = np.einsum("ij,ij->i", away, away)
        return squared, corner + foot


def _shares(
    d1: NDArray[np.float64],
    d2: NDArray[np.float64],
    aa: NDArray[np.float64],
    ab: NDArray[np.float64],
    bb: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """How much of each edge leads to the closest place; a triangle without area falls back on its edges."""
    d3, d4, d5, d6 = d1 - aa, d2 - ab, d1 - ab, d2 - bb
    over_bc, over_ca, over_ab = d3 * d6 - d5 * d4, d5 * d2 - d1 * d6, d1 * d4 - d3 * d2
    total = over_bc + over_ca + over_ab
    inside = (over_bc > 0) & (over_ca > 0) & (over_ab > 0)
    tiny = np.finfo(np.float64).tiny
    v = over_ca / np.where(inside, total, 1.0)
    w = over_ab / np.where(inside, total, 1.0)
    outside = np.flatnonzero(~inside)
    if len(outside):
        d1, d2, d3, d4, aa, ab, bb = (each[outside] for each in (d1, d2, d3, d4, aa, ab, bb))
        on_ab = np.clip(d1 / np.maximum(aa, tiny), 0, 1)
        on_ca = np.clip(d2 / np.maximum(bb, tiny), 0, 1)
        length_bc = aa - 2 * ab + bb
        on_bc = np.clip((d4 - d3) / np.maximum(length_bc, tiny), 0, 1)
        # squared distance less |offset|², along each edge
        costs = np.stack(
            [
                on_ab * (on_ab * aa - 2 * d1),
                on_ca * (on_ca * bb - 2 * d2),
                on_bc * (on_bc * length_bc - 2 * (d4 - d3)) + aa - 2 * d1,
            ]
        )
        edge = costs.argmin(axis=0)
        v[outside] = np.choose(edge, [on_ab, np.zeros_like(on_ab), 1 - on_bc])
        w[outside] = np.choose(edge, [np.zeros_like(on_ab), on_ca, on_bc])
    return v, w
