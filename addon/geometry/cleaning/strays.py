"""Points that belong to no surface: lone ones, flying clusters, veils strung from a depth edge."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from ..clouds.normals import least_axis
from ..clouds.thinning import thinned
from ..neighbours import Arranged, arranged
from ..portions import from_portions
from ..progress import SILENT, Progress

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
    surface. Bounds on the plane test from simulated captures of the demo head (200,000 and
    960,000 points, 4 % strays, clusters and veils).
    """
    held = arranged(points)
    if len(held.points) <= neighbours + 1:
        return Strays(np.zeros(len(points), np.uint8), 0.0)
    progress(0.05, "finding neighbours")
    distances, rows = held.nearest(neighbours)
    reach = np.log(distances[:, -1])
    progress(0.6, "judging distances")
    typical = float(np.median(reach))
    excess = reach - reach[rows].mean(axis=1)
    middle = float(np.median(excess))
    deviation = 1.4826 * float(np.median(np.abs(excess - middle)))
    kind = np.zeros(len(held.points), np.uint8)
    kind[(excess > middle + spread * deviation) | (reach > typical + np.log(_NO_SURFACE))] = LONE
    thin = reach > typical + np.log(_THIN)
    doubtful = np.flatnonzero((kind == GOOD) & (thin | (excess > middle + 0.4 * spread * deviation)))
    height, share = _off_plane(held, doubtful, rows[doubtful])
    kind[doubtful[height > _HEIGHT * distances[doubtful, -1]]] = VEIL
    kind[doubtful[thin[doubtful] & (share > _SCATTER)]] = LONE
    progress(0.8, "finding flying clusters")
    spacing = float(np.exp(typical)) / np.sqrt(neighbours / np.pi)
    kept = np.flatnonzero(kind == GOOD)
    kind[kept[_loose(held.points, kept, rows, _LINK * spacing, island)]] = CLUSTER
    kind[_filling(held, rows, kind == GOOD, island)] = CLUSTER
    apart = np.flatnonzero(
        (kind == LONE) & (reach <= typical + np.log(_NO_SURFACE)) & (reach - excess > typical + _SPARSE)
    )
    apart = apart[(kind[rows[apart]] == GOOD).mean(axis=1) > _COMPANY]
    height, share = _off_plane(held, apart, rows[apart])
    kind[apart[(height < _LEVEL * distances[apart, -1]) & (share < _FLAT)]] = GOOD
    return Strays(kind[held.back], spacing)


_NO_SURFACE = 6.0  # distances, of the median one, at which points no longer make a surface
_THIN = 2.2  # distances, of the median one, from which the neighbours must show that they lie on a surface
_SCATTER = 0.1  # share of the neighbours' spread across their plane that shows they do not: 1/3 in thin air
_COMPANY = 0.7  # share of good neighbours that such a point needs
_SPARSE = float(np.log(1.4))  # how much farther than usual points lie, all around, where sampling is thin
_LEVEL, _FLAT = (
    0.15,
    0.02,
)  # height and share of the spread at which a point far from others still lies on their surface
_FILLS, _NOISY = 0.08, 7.0  # share of the spread across from which points fill space, over so many median ones
_HEIGHT = 0.4  # height over the neighbours' plane, of the distance to the last of them
_LINK = 2.5  # side of the cells that tell what hangs together, in spacings


def _off_plane(
    held: Arranged, which: NDArray[np.int64], rows: NDArray[np.int64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """How high each point stands over the plane through its neighbours, and the share of their spread across it."""
    near = held.points[rows]
    middle = near.mean(axis=1)
    near -= middle[:, None]
    second = np.einsum("mki,mkj->mij", near, near)
    axis, share = least_axis(np.stack([second[:, i, j] for i, j in ((0, 0), (1, 1), (2, 2), (1, 2), (0, 2), (0, 1))]))
    return np.abs(np.einsum("mi,mi->m", held.points[which] - middle, axis)), share


def _filling(held: Arranged, rows: NDArray[np.int64], good: NDArray[np.bool_], island: float) -> NDArray[np.bool_]:
    """Which of the good points are of a small flock that fills space: the neighbours lie in no plane.

    Every other point is asked, and what they say is meant over the neighbours' neighbours, so that the rim of an ear,
    where points fill space along a line only, is none. Noise makes dense clouds thick all over: their median tells.
    """
    asked = np.arange(0, len(rows), 2)
    parts = from_portions(len(asked), 25_000, lambda part: _off_plane(held, asked[part], rows[asked[part]])[1])
    told = np.zeros((len(rows), 2), np.float32)
    told[asked, 0], told[asked, 1] = (shares := np.concatenate(parts)), 1.0
    bar = _FILLS + _NOISY * float(np.median(shares))
    near, ring = np.zeros((2, len(rows)), bool)
    near[rows[asked[shares > 0.5 * bar]]] = True
    thick = np.flatnonzero(near & good)
    ring[rows[rows[thick]]] = True
    about = np.flatnonzero(ring)
    around = told[rows[about]].sum(axis=1)
    mean = np.zeros(len(rows))
    mean[about] = around[:, 0] / np.maximum(around[:, 1], 1.0)
    fills = thick[mean[rows[rows[thick]]].mean(axis=(1, 2)) > bar]
    flock = np.full(len(rows), -1)
    flock[fills] = np.arange(len(fills))
    start, end = np.repeat(np.arange(len(fills)), rows.shape[1]), flock[rows[fills].ravel()]
    links = coo_array((np.ones(int((end >= 0).sum()), np.int8), (start[end >= 0], end[end >= 0])), (len(fills),) * 2)
    found = np.zeros(len(rows), bool)
    if len(fills):
        label = connected_components(links, directed=False)[1]
        found[fills] = (np.bincount(label) < island * len(rows))[label]
    return found


def _loose(
    points: NDArray[np.float64], kept: NDArray[np.int64], rows: NDArray[np.int64], size: float, island: float
) -> NDArray[np.bool_]:
    """Which of the kept points are of pieces that fill fewer cells than `island` of the largest piece.

    Cells that touch hang together; where points are too few for that, a small piece also hangs on whatever is among
    its points' own nearest neighbours.
    """
    cells = thinned(points[kept], size)
    label = connected_cells(cells.cells)
    extent = np.bincount(label)
    piece = np.full(len(points), -1)
    piece[kept[cells.order]] = np.repeat(label, cells.counts)
    small = kept[(extent < island * extent.max())[piece[kept]]]
    start, end = np.repeat(piece[small], rows.shape[1]), piece[rows[small].ravel()]
    held = end >= 0
    links = coo_array((np.ones(int(held.sum()), np.int8), (start[held], end[held])), shape=(len(extent),) * 2)
    joined = connected_components(links, directed=False)[1]
    extent = np.bincount(joined, weights=extent)
    loose: NDArray[np.bool_] = (extent < island * extent.max())[joined[piece[kept]]]
    return loose


def connected_cells(cells: NDArray[np.int64]) -> NDArray[np.int32]:
    """(m,) the piece each occupied cell belongs to; cells that share a face, an edge or a corner hang together."""
    strides = np.array([2**42, 2**21, 1], dtype=np.int64)
    numbers = (cells + 1) @ strides
    order = np.argsort(numbers)
    ordered = numbers[order]
    starts, ends = [], []
    for step in range(14, 27):  # half of the 26 ways; the other half are the same links seen from the other cell
        way = np.array([step // 9 - 1, step // 3 % 3 - 1, step % 3 - 1]) @ strides
        place = np.minimum(np.searchsorted(ordered, ordered + way), len(ordered) - 1)
        met = np.flatnonzero(ordered[place] == ordered + way)
        starts.append(order[met])
        ends.append(order[place[met]])
    start, end = np.concatenate(starts), np.concatenate(ends)
    links = coo_array((np.ones(len(start), np.int8), (start, end)), shape=(len(cells), len(cells)))
    labels: NDArray[np.int32] = connected_components(links, directed=False)[1]
    return labels
