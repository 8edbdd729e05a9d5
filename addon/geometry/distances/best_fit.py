"""Points laid on a surface as they fit it best: turned and moved, never stretched."""

import numpy as np
from numpy.typing import NDArray

from ..errors import NotPossible
from ..measures import triangle_normals
from ..mesh import Mesh
from ..transforms import applied, towards_planes
from .closest import ClosestPoint

_LISTENED = 20_000
_TRIM = 0.9  # share of the points that is listened to, the nearest: what differs should not pull what is alike
_TURNS = 60
_STILL = 1e-7  # of the points' own extent: steps under which the fit stands
_FEWEST = 20


def best_fit(points: NDArray[np.float64], base: Mesh) -> NDArray[np.float64]:
    """The (4, 4) rigid move that brings points onto a surface they lie near already.

    Parameters
    ----------
    points : (n, 3) array, mm; of many, some 20,000 are listened to
    base : the surface

    Raises
    ------
    NotPossible
        Fewer than 20 points.

    Notes
    -----
    Point to plane (`transforms.towards_planes`) with the exact nearest place on the surface, the farthest tenth of the
    points trimmed each time.
    """
    if len(points) < _FEWEST:
        raise NotPossible(f"{len(points)} points are too few to be fitted: choose a larger region")
    points = points[:: max(1, len(points) // _LISTENED)]
    surface, normals = ClosestPoint(base), triangle_normals(base)
    size, matrix = float(np.ptp(points, axis=0).max()), np.eye(4)
    for _ in range(_TURNS):
        moved = applied(matrix, points)
        apart, triangle, place = surface.query(moved)
        near = np.argsort(apart, kind="stable")[: max(_FEWEST, int(_TRIM * len(points)))]
        step, motion = towards_planes(moved[near], place[near], normals[triangle[near]], size)
        matrix = step @ matrix
        if np.abs(motion).max() < _STILL * size:
            break
    return matrix
