"""What of a surface is seen from outside: tells the inner wall of a hollow shell from the outer one."""

import numpy as np
from numpy.typing import NDArray

from ..clouds.thinning import thinned
from ..directions import spread_directions
from ..linked import linked_pieces
from ..neighbours import Arranged, arranged
from .poisson import winding_field

_DIRECTIONS = 60


def seen_share(points: NDArray[np.float64], normals: NDArray[np.float64], size: float) -> NDArray[np.float64]:
    """(n,) share of the directions before each point from which it is seen past all the others, 0 to 1.

    Parameters
    ----------
    points : (n, 3) float array, millimetres, dense against `size`
    normals : (n, 3) outward unit vectors
    size : side of a pixel, millimetres: six point spacings or so, or the nearer wall shows gaps

    Notes
    -----
    Depth images along 60 directions spread evenly over the sphere. A direction counts for a point
    where it meets the front within 60 degrees of the normal.
    """
    seen, asked = np.zeros(len(points)), np.zeros(len(points))
    for way in spread_directions(_DIRECTIONS):
        across = np.linalg.svd(way[None])[2][1:]
        pixel = np.floor((points @ across.T) / size).astype(np.int64)
        pixel -= pixel.min(axis=0)
        number = pixel[:, 0] * (pixel[:, 1].max() + 1) + pixel[:, 1]
        depth = points @ way
        nearest = np.full(int(number.max()) + 1, -np.inf)
        np.maximum.at(nearest, number, depth)
        facing = normals @ way > 0.5
        asked += facing
        seen += facing & (depth > nearest[number] - 2.5 * size)
    share: NDArray[np.float64] = seen / np.maximum(asked, 1)
    return share


def outer_wall(points: NDArray[np.float64], normals: NDArray[np.float64], spacing: float) -> NDArray[np.bool_]:
    """Which points belong to the wall that is seen from outside, its folds included.

    Parameters
    ----------
    points, normals : (n, 3) float arrays, millimetres and outward unit vectors
    spacing : millimetres between the points

    Notes
    -----
    What is seen from a seventh of its directions is outside to begin with, and so are the folds and pockets next to it.
    But an inner wall is seen too, through the opening of its shell. So what faces into the body that the outer wall
    alone would enclose (by its winding number) is taken out, and what faces out of it is put in, until nothing changes.
    """
    held = arranged(points)
    facing = normals[held.rows]
    step = _COARSE * spacing
    margin = 0.25 * float(np.ptp(points, axis=0).max()) + 4 * step
    elements = facing * spacing**2

    own = _sure(held, facing, seen_share(points, normals, 6 * spacing)[held.rows], spacing)
    for _ in range(_ROUNDS):
        sparse = thinned(held.points[own], 0.5 * step)
        field = winding_field(sparse.points, sparse.sums(elements[own]), step, margin)
        # two places before each: a gap as narrow as that behind an ear is passed by the farther one
        within = np.minimum(*(field.at(held.points + away * step * facing) for away in (1.0, 2.0)))
        before, own = own, within < _WITHIN
        if np.count_nonzero(own != before) < _SETTLED * len(points):
            break
    return own[held.back]


def _sure(held: Arranged, facing: NDArray[np.float64], share: NDArray[np.float64], spacing: float) -> NDArray[np.bool_]:
    """What is seen, its folds a few points deep but not round an edge, and hidden pockets as small as a nostril."""
    _, rows = held.nearest(8)
    alike = np.einsum("mki,mi->mk", facing[rows], facing) > 0.5
    for _ in range(_DEEP):  # a pixel more or less seen is chance
        share = (alike * share[rows]).sum(axis=1) / np.maximum(alike.sum(axis=1), 1)
    outside = share > _SURELY
    for _ in range(_DEEP):
        outside = outside | (alike & outside[rows]).any(axis=1)
    one, place = np.nonzero(alike & ~outside[rows] & ~outside[:, None])
    pocket = linked_pieces(one, rows[one, place], len(outside))
    small: NDArray[np.bool_] = np.bincount(pocket)[pocket] * spacing**2 < _POCKET
    return outside | small


_SURELY, _DEEP = 0.15, 3
_POCKET = 1500.0  # square millimetres of hidden wall: a nostril or an ear's canal has less, a head's inside 50,000
_COARSE, _ROUNDS, _SETTLED = 4.0, 12, 0.001  # spacings in a step of the grid; share of the points that still change
# Winding number before a point from which it faces into the body. Across the flat of an opening it is one half: a
# little less, and the opening is followed out to where the wall ends, rather than closed where it is narrow.
_WITHIN = 0.4
