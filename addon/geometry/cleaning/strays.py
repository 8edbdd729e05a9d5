"""Points that belong to no surface: lone ones, flying clusters, veils strung from a depth edge."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..neighbours import arranged
from ..progress import SILENT, Progress
from ..robust import robust_deviation
from .flocks import filling, loose, off_plane

GOOD, LONE, CLUSTER, VEIL = 0, 1, 2, 3
"""What a point is found to be."""


@dataclass(frozen=True, eq=False)
class Strays:
    """What each point is: GOOD, LONE, CLUSTER or VEIL, (n,) uint8; and the cloud's spacing, millimetres."""

    kind: NDArray[np.uint8]
    spacing: float

    def count(self, kind: int) -> int:
        """How many points are of that kind."""
        return int((self.kind == kind).sum())


def found_strays(
    points: NDArray[np.float64],
    neighbours: int = 8,
    spread: float = 4.0,
    island: float = 0.01,
    progress: Progress = SILENT,
) -> Strays:
    """Tell the points of the surface from those that belong to none.

    Parameters
    ----------
    points : (n, 3) float array, millimetres
    neighbours : points looked at around each point
    spread : robust standard deviations of the logarithm of the distance, against the points around, that are kept
    island : share of the largest piece's extent below which a loose piece is a flying cluster
    progress : told how far the work is

    Notes
    -----
    Four tests, each against the points around, so that a thinly scanned crown is judged by its own measure:
    the distance to the n-th neighbour on a logarithmic scale with median and MAD, though a gap in thin sampling does
    not make a stray of its rim; the height over the plane of the neighbours, for those that stand apart; the
    extent of the connected piece; and, for clusters that hang on the skin, whether points fill space and lie on no
    surface. Bounds on the plane test from simulated captures of the demo head (nine of 200,000 points, one of a
    million; 4 % strays, clusters and veils): up to 1.9 % and 0.3 % of what is over 1 mm off is left, and of lids alone
    up to 0.9 % and 0.2 % is lost.
    """
    held = arranged(points)
    if len(held.points) <= neighbours + 1:
        return Strays(np.zeros(len(points), np.uint8), 0.0)
    progress(0.05, "finding neighbours")
    distances, rows = held.nearest(neighbours)
    reach = np.log(distances[:, -1])
    progress(0.6, "judging distances")
    typical = float(np.median(reach))
    excess = reach - reach.take(rows).mean(axis=1)
    middle = float(np.median(excess))
    deviation = robust_deviation(excess - middle)
    kind = np.zeros(len(held.points), np.uint8)
    kind[(excess > middle + spread * deviation) | (reach > typical + np.log(_NO_SURFACE))] = LONE
    thin, loosely = reach > typical + np.log(_THIN), reach > typical + np.log(_LOOSELY)
    doubtful = np.flatnonzero((kind == GOOD) & (loosely | (excess > middle + 0.4 * spread * deviation)))
    height, share = off_plane(held.points, doubtful, rows[doubtful])
    kind[doubtful[height > np.minimum(_HEIGHT * distances[doubtful, -1], _STANDS * np.exp(typical))]] = VEIL
    kind[doubtful[thin[doubtful] & (share > _SCATTER)]] = LONE
    progress(0.8, "finding flying clusters")
    spacing = float(np.exp(typical)) / np.sqrt(neighbours / np.pi)
    kept = np.flatnonzero(kind == GOOD)
    kind[kept[loose(held.points, kept, rows, _LINK * spacing, island)]] = CLUSTER
    kind[filling(held.points, rows, kind == GOOD, island)] = CLUSTER
    apart = np.flatnonzero(
        (kind == LONE) & (reach <= typical + np.log(_NO_SURFACE)) & (reach - excess > typical + _SPARSE)
    )
    apart = apart[(kind[rows[apart]] == GOOD).mean(axis=1) > _COMPANY]
    height, share = off_plane(held.points, apart, rows[apart])
    kind[apart[(height < _LEVEL * distances[apart, -1]) & (share < _FLAT)]] = GOOD
    return Strays(kind[held.back], spacing)


_NO_SURFACE = 6.0  # distances, of the median one, at which points no longer make a surface
_LOOSELY = 1.4  # distances, of the median one, from which points are asked for their height over the neighbours' plane
_THIN = 2.2  # distances, of the median one, from which the neighbours must show that they lie on a surface
_SCATTER = 0.1  # share of the neighbours' spread across their plane that shows they do not: 1/3 in thin air
_COMPANY = 0.7  # share of good neighbours that such a point needs
_SPARSE = float(np.log(1.4))  # how much farther than usual points lie, all around, where sampling is thin
_LEVEL, _FLAT = 0.15, 0.02  # height and share of the spread at which a point far from others lies on their surface
_HEIGHT, _STANDS = 0.4, 0.56  # height over that plane, of the distance to the last neighbour, and of the median one
_LINK = 2.5  # side of the cells that tell what hangs together, in spacings
