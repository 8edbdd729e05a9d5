"""Points laid on a surface they may lie far from: as they are where that fits, else found by their form."""

import numpy as np
from numpy.typing import NDArray

from ..distances.best_fit import best_fit
from ..distances.closest import ClosestPoint
from ..distances.sampling import spread_over
from ..mesh import Mesh
from ..transforms import applied, transform
from .registration import registered
from .thinning import thinned

_FAR = 0.005
"""Share of the surface's size that the nearer half of points may lie off it, on the mean, before it is doubted."""
_CELLS = 150  # of the coarse look, along the surface's diagonal
_MOST = 50_000
_LISTENED = 3_000


def fitted_from_anywhere(
    points: NDArray[np.float64], base: Mesh, some: NDArray[np.bool_] | slice = slice(None)
) -> tuple[NDArray[np.float64], bool]:
    """The (4, 4) rigid move that brings points onto a surface, in whatever pose they come.

    Parameters
    ----------
    points : (n, 3) array, mm, of the surface's own size
    base : the surface
    some : which of them are laid on it; the others only help to find the pose

    Returns
    -------
    The move, and whether the pose had to be found: fitted as they lay, they did not come to lie on it.

    Raises
    ------
    NotPossible
        Too few points to be fitted.
    """
    size = float(np.linalg.norm(np.ptp(base.vertices, axis=0)))
    surface, listened = ClosestPoint(base), points[some][:: max(1, len(points[some]) // _LISTENED)]

    def off(matrix: NDArray[np.float64]) -> float:
        apart = np.sort(surface.query(applied(matrix, listened))[0])
        return float(apart[: len(apart) // 2 + 1].mean())

    apart = base.vertices.mean(axis=0) - points.mean(axis=0)
    near = bool(np.linalg.norm(apart) < size)  # from farther off the nearest places tell nothing, and are dear to find
    as_it_lies = best_fit(listened, base) if near else transform(np.eye(3), apart)
    if off(as_it_lies) < _FAR * size:
        return best_fit(applied(as_it_lies, points[some]), base) @ as_it_lies, not near
    few, cell = points[:: max(1, len(points) // _MOST)], size / _CELLS
    rough = registered([spread_over(base, cell).points, thinned(few, cell).points])[1].matrix
    found = best_fit(applied(rough, points[some]), base) @ rough
    if near and off(as_it_lies) <= off(found):
        return best_fit(applied(as_it_lies, points[some]), base) @ as_it_lies, False
    return found, True
