"""Flocks of points that fly about a surface or hang on it: loose pieces, and points that fill space."""

import numpy as np
from numpy.typing import NDArray

from ..clouds.normals import least_axis
from ..clouds.thinning import Thinned, thinned
from ..linked import linked_pieces
from ..portions import from_portions
from .running_on import runs_on


def off_plane(
    points: NDArray[np.float64], which: NDArray[np.int64], rows: NDArray[np.int64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """How each point lies to the plane through its neighbours.

    Parameters
    ----------
    points : (n, 3) float array, millimetres
    which : (m,) rows of the points asked about
    rows : (m, k) rows of their neighbours

    Returns
    -------
    height : (m,) over that plane, without sign, millimetres
    share : (m,) of the neighbours' spread that lies across it: 0 on a plane, 1/3 at most
    """
    near = points.take(rows, axis=0)
    middle = near.mean(axis=1)
    near -= middle[:, None]
    axis, share = least_axis(np.einsum("mki,mkj->mij", near, near))
    return np.abs(np.einsum("mi,mi->m", points[which] - middle, axis)), share


def filling(
    points: NDArray[np.float64], rows: NDArray[np.int64], good: NDArray[np.bool_], island: float
) -> NDArray[np.bool_]:
    """Which of the good points are of a small flock that fills space: the neighbours lie in no plane.

    Parameters
    ----------
    points : (n, 3) float array, millimetres
    rows : (n, k) rows of each point's nearest others
    good : (n,) the points asked about
    island : share of all points from which a flock is none

    Notes
    -----
    Every other point is asked, and what they say is meant over the neighbours' neighbours, so that the rim of an ear,
    where points fill space along a line only, is none. Noise makes dense clouds thick all over: their median tells.
    What hangs together by points that say so less plainly is one flock, if part of it says so plainly; points of a
    surface that runs on beside it stay, as those of a lid do between clumps of lashes.
    """
    thick, says = _spread_around(points, rows, good)
    found = np.zeros(len(rows), bool)
    fills = thick[says > _LESS]
    if not len(fills):
        return found
    flock = np.full(len(rows), -1)
    flock[fills] = np.arange(len(fills))
    start, end = np.repeat(np.arange(len(fills)), rows.shape[1]), flock[rows[fills].ravel()]
    label = linked_pieces(start[end >= 0], end[end >= 0], len(fills))
    sizes, plain = np.bincount(label), np.bincount(label, says[says > _LESS] > 1)
    found[fills] = ((sizes < island * len(rows)) & (plain > _PLAIN * sizes))[label]
    surface = good.copy()
    surface[thick[says > _SURELY]] = False
    return _off_the_surface(points, rows, surface, found)


_LESS, _PLAIN = 0.65, 0.08  # of what is plainly filled, what still hangs on a flock; the plain share that makes one
_SURELY = 0.6  # of it, up to which a point beside a flock is of a surface
_ROUNDS = 2  # a lid turns in within a few spacings: followed on so often, and no farther into a flock
_BESIDE, _LEVEL = 3.0, 0.4  # distances to the last neighbour within which skin lies beside; height over it, of that


def _spread_around(
    points: NDArray[np.float64], rows: NDArray[np.int64], good: NDArray[np.bool_]
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Rows of the good points that might fill space, and the spread across about them, 1 where they plainly do."""
    asked = np.arange(0, len(rows), 2)
    parts = from_portions(len(asked), 25_000, lambda part: off_plane(points, asked[part], rows[asked[part]])[1])
    told = np.zeros((len(rows), 2), np.float32)
    told[asked, 0], told[asked, 1] = (shares := np.concatenate(parts)), 1.0
    bar = _FILLS + _NOISY * float(np.median(shares))
    near, ring = np.zeros((2, len(rows)), bool)
    near[rows[asked[shares > 0.5 * bar]]] = True
    thick = np.flatnonzero(near & good)
    ring[rows[rows[thick]]] = True
    about = np.flatnonzero(ring)
    around = told.take(rows[about], axis=0).sum(axis=1)
    mean = np.zeros(len(rows))
    mean[about] = around[:, 0] / np.maximum(around[:, 1], 1.0)
    return thick, mean.take(rows[rows[thick]]).mean(axis=(1, 2)) / bar


_FILLS, _NOISY = 0.08, 7.0  # share of the spread across from which points fill space, over so many median ones


def _off_the_surface(
    points: NDArray[np.float64], rows: NDArray[np.int64], surface: NDArray[np.bool_], flock: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """The flocks without what lies in the surface that points beside them surely form, round by round."""
    left, beside = flock.copy(), np.zeros(len(points), bool)
    beside[rows[rows[np.flatnonzero(flock)]]] = True
    beside &= surface | flock
    for _ in range(_ROUNDS):
        skin, doubtful = np.flatnonzero(beside & ~left), np.flatnonzero(left)
        usual = float(np.median(np.linalg.norm(points[rows[skin, -1]] - points[skin], axis=1))) if len(skin) else 0.0
        back = runs_on(points[skin], points[doubtful], _BESIDE * usual, _LEVEL * usual)
        left[doubtful[back]] = False
        if not back.any():
            break
    return left


def loose(
    points: NDArray[np.float64], kept: NDArray[np.int64], rows: NDArray[np.int64], size: float, island: float
) -> NDArray[np.bool_]:
    """Which of the kept points are of pieces that fill fewer cells than `island` of the largest piece.

    Parameters
    ----------
    points : (n, 3) float array, millimetres
    kept : (m,) rows of the points that may be of a surface
    rows : (n, k) rows of each point's nearest others
    size : side of a cell, millimetres
    island : share, 0 to 1

    Returns
    -------
    (m,) bool

    Notes
    -----
    Cells that touch hang together where their points lie near; where points are too few for that, a small piece also
    hangs on whatever is among its points' own nearest neighbours, unless nearly all of these are its own.
    """
    cells = thinned(points[kept], size)
    label = connected_cells(cells, _NEAR * size)
    extent = np.bincount(label)
    piece = np.full(len(points), -1)
    piece[kept[cells.order]] = np.repeat(label, cells.counts)
    small = kept[(extent < island * extent.max())[piece[kept]]]
    start, end = np.repeat(piece[small], rows.shape[1]), piece[rows[small].ravel()]
    start, end = start[end >= 0], end[end >= 0]
    within, all_told = (np.bincount(which, minlength=len(extent)) for which in (start[start == end], start))
    open_ = (within <= (1 - _OUTWARD) * all_told)[start]
    joined = linked_pieces(start[open_], end[open_], len(extent))
    extent = np.bincount(joined, weights=extent)
    found: NDArray[np.bool_] = (extent < island * extent.max())[joined[piece[kept]]]
    return found


_NEAR = 1.5  # sides of a cell within which the points of cells that touch hang together
_OUTWARD = 0.05  # share of a small piece's neighbours that must be of others: next to none of a flying cluster's are


def connected_cells(cells: Thinned, reach: float) -> NDArray[np.int32]:
    """(m,) the piece each occupied cell belongs to.

    Cells that share a face, an edge or a corner hang together where the means of their points lie within `reach`.
    """
    strides = np.array([2**42, 2**21, 1], dtype=np.int64)
    numbers = (cells.cells + 1) @ strides
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
    way = cells.points.take(start, axis=0) - cells.points.take(end, axis=0)
    near = np.flatnonzero(np.einsum("ij,ij->i", way, way) < reach**2)
    return linked_pieces(start[near], end[near], len(ordered))
