"""Points of one surface carried onto another, and all of space with them, by plates that grow softer."""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RBFInterpolator

from ..distances.sided import Sided
from ..errors import NotReady
from ..progress import SILENT, Progress

Vectors = NDArray[np.float64]
Carried = Callable[[Vectors], Vectors]
_SOFTER = (30.0, 10.0, 3.0, 1.0, 0.3, 0.1, 0.1)
"""Smoothing of the plates round by round."""
_PAIR = 1.0  # smoothing of a pair of marked points: landmarks are known to a millimetre or so
_FACING = 0.5  # cosine between a point's way and the surface's normal from which the surface draws it
_DOUBT = (15.0, 12.0, 9.0, 6.0, 4.0, 4.0, 4.0)
"""Millimetres from the surface at which a point is heard a quarter as much, round by round."""
_FEWEST = 20


def carried_onto(
    points: Vectors,
    ways: Vectors,
    surface: Sided,
    pairs: tuple[Vectors, Vectors] | None = None,
    doubtful: bool = False,
    progress: Progress = SILENT,
) -> Carried:
    """The smooth map of space that lays points on a surface.

    Parameters
    ----------
    points : (n, 3), some hundreds, spread evenly and near the surface already, mm at life size
    ways : (n, 3) unit vectors that look as the surface's normals do
    surface : what they are laid on
    pairs : (k, 3) marked places and the (k, 3) places they belong at, which hold the points from sliding
    doubtful : whether points that stay far off are no part of what lies on the surface, and heard less and less
    progress : told how far the work is

    Returns
    -------
    Function of (m, 3) points that gives where they come to lie.

    Raises
    ------
    NotReady
        Too few of the points face the surface.

    Notes
    -----
    Displacements as biharmonic splines with a linear part (Duchon 1977, doi 10.1007/BFb0086566; as scipy has them),
    so that an affine map is carried exactly. Each round draws a point along the surface's normal only: along the
    surface it follows its neighbours.
    """
    source = points if pairs is None else np.vstack([points, pairs[0]])
    middle = source.mean(axis=0)
    move: Carried = _nowhere
    for number, smoothing in enumerate(_SOFTER):
        progress(number / len(_SOFTER), "carrying the scalp over")
        now = points + move(points)
        height, normal = surface.query(now)
        faces = np.einsum("ij,ij->i", normal, ways) > _FACING
        if faces.sum() < _FEWEST:
            raise NotReady("the hair's inner side does not face the head: check its pose, or give landmarks")
        wanted = now - height[:, None] * normal - points
        heard = 1.0 / (1.0 + (height / _DOUBT[number]) ** 2) ** 2 if doubtful else np.ones(len(points))
        soft = smoothing / heard[faces]
        if pairs is None:
            places, moves = points[faces], wanted[faces]
        else:
            places, moves = np.vstack([points[faces], pairs[0]]), np.vstack([wanted[faces], pairs[1] - pairs[0]])
            soft = np.concatenate([soft, np.full(len(pairs[0]), max(_PAIR, smoothing))])
        move = _about(middle, RBFInterpolator(places - middle, moves, kernel="linear", degree=1, smoothing=soft))
    return _added(move)


def _nowhere(places: Vectors) -> Vectors:
    return np.zeros_like(places)


def _about(middle: Vectors, plate: Carried) -> Carried:
    return lambda places: np.asarray(plate(places - middle))


def _added(move: Carried) -> Carried:
    return lambda places: places + move(places)
