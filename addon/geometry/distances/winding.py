"""How often a surface goes round a point: 1 inside a closed mesh, 0 outside, in between where it has holes.

Unlike a closest place or a ray, it also answers for meshes that are open, doubled or cut themselves.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from ..angles import arc_tangent
from ..groups import counted_out
from ..mesh import Mesh

FAR = 2.5
"""Distance to a cluster, in its own radii, from which it is taken as one dipole: error in w some 1e-3."""


def winding_numbers(mesh: Mesh, points: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n,) winding number of each point: the sum of the triangles' signed solid angles over 4 pi, exactly.

    Notes
    -----
    Jacobson, Kavan, Sorkine-Hornung 2013 (doi 10.1145/2461912.2461916); the solid angle after Van Oosterom and
    Strackee 1983 (doi 10.1109/TBME.1983.325207). Every triangle for every point: for tests and small numbers.
    """
    points = np.asarray(points, dtype=np.float64).reshape(-1, 3)
    corners = mesh.corners
    together = max(1, 2_000_000 // max(len(corners), 1))
    parts = [
        _solid_angles(corners[None], points[start : start + together, None]).sum(axis=1)
        for start in range(0, len(points), together)
    ]
    numbers: NDArray[np.float64] = np.concatenate([*parts, np.zeros(0)]) / (4 * np.pi)
    return numbers


def _solid_angles(corners: NDArray[np.float64], points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Signed solid angle of (..., 3, 3) triangles seen from (..., 3) points."""
    a, b, c = (corners[..., k, :] - points for k in range(3))
    la, lb, lc = (np.sqrt(np.einsum("...i,...i->...", side, side)) for side in (a, b, c))
    ab, bc, ca = (np.einsum("...i,...i->...", *pair) for pair in ((a, b), (b, c), (c, a)))
    triple = np.einsum("...i,...i->...", a, np.cross(b, c))
    angles: NDArray[np.float64] = 2 * arc_tangent(triple, la * lb * lc + ab * lc + bc * la + ca * lb)
    return angles


@dataclass(frozen=True, eq=False)
class _Clusters:
    """Balls that hold the triangles: middle, radius, and the sum of area times normal (their dipole)."""

    middles: NDArray[np.float64]
    radii: NDArray[np.float64]
    dipoles: NDArray[np.float64]
    first: NDArray[np.int64]
    """Where each cluster's members start in the level below (or among the ordered triangles); one more at the end."""


class Winding:
    """Winding numbers for many points: far clusters of triangles as dipoles, near ones exactly.

    Notes
    -----
    The fast winding number of Barill, Dickson, Schmidt, Levin, Jacobson 2018 (doi 10.1145/3197517.3201337) with
    dipoles only, over triangles in the order of a k-d tree, sixteen to a cluster. `inside` is safe with it: a half
    is far from 0 and 1.
    """

    def __init__(self, mesh: Mesh) -> None:
        order = np.asarray(cKDTree(mesh.corners.mean(axis=1), leafsize=8).indices)
        a, b, c = (mesh.vertices.take(mesh.triangles[order, k], axis=0) for k in range(3))
        self._corners = np.stack([a, b, c], axis=1)
        places = (a + b + c) / 3
        dipoles = np.cross(b - a, c - a) / 2
        weights = np.maximum(np.sqrt(np.einsum("ij,ij->i", dipoles, dipoles)), 1e-300)
        out = (a - places, b - places, c - places)
        reach = np.sqrt(np.max([np.einsum("ij,ij->i", each, each) for each in out], axis=0))
        self._levels: list[_Clusters] = []
        while len(places) > 16 or not self._levels:
            level, weights = _clustered(places, reach, dipoles, weights, 16 if not self._levels else 8)
            self._levels.append(level)
            places, reach, dipoles = level.middles, level.radii, level.dipoles

    def query(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n,) winding number of each of (n, 3) points, good to some hundredths."""
        points = np.asarray(points, dtype=np.float64).reshape(-1, 3)
        total = np.zeros(len(points))
        for start in range(0, len(points), 8192):
            rows = slice(start, start + 8192)
            total[rows] = self._some(points[rows])
        return total / (4 * np.pi)

    def inside(self, points: NDArray[np.float64]) -> NDArray[np.bool_]:
        """(n,) whether each point is inside, that is has a winding number of a half or more."""
        return self.query(points) >= 0.5

    def _some(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        total = np.zeros(len(points))
        top = len(self._levels[-1].middles)
        row, cluster = np.repeat(np.arange(len(points)), top), np.tile(np.arange(top), len(points))
        for level in reversed(self._levels):
            away = level.middles[cluster] - points[row]
            squared = np.einsum("ij,ij->i", away, away)
            far = squared > (FAR * level.radii[cluster]) ** 2
            seen = np.einsum("ij,ij->i", level.dipoles[cluster[far]], away[far]) / squared[far] ** 1.5
            total += np.bincount(row[far], seen, len(points))
            row, cluster = _opened(level, row[~far], cluster[~far])
        for start in range(0, len(row), 500_000):
            some = slice(start, start + 500_000)
            angles = _solid_angles(self._corners[cluster[some]], points[row[some]])
            total += np.bincount(row[some], angles, len(points))
        return total


def _clustered(
    places: NDArray[np.float64],
    reach: NDArray[np.float64],
    dipoles: NDArray[np.float64],
    weights: NDArray[np.float64],
    size: int,
) -> tuple[_Clusters, NDArray[np.float64]]:
    first = np.arange(0, len(places), size)
    heavier = np.add.reduceat(weights, first)
    middles = np.add.reduceat(places * weights[:, None], first, axis=0) / heavier[:, None]
    owner = np.repeat(np.arange(len(first)), np.diff(first, append=len(places)))
    spread = np.linalg.norm(places - middles[owner], axis=1) + reach
    radii = np.maximum.reduceat(spread, first)
    return _Clusters(middles, radii, np.add.reduceat(dipoles, first, axis=0), np.append(first, len(places))), heavier


def _opened(
    level: _Clusters, row: NDArray[np.int64], cluster: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Each (point, cluster) pair as the pairs of the point with the cluster's members."""
    pair, member = counted_out((level.first[1:] - level.first[:-1])[cluster])
    return row.take(pair), level.first.take(cluster.take(pair)) + member
