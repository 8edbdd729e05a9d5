"""Distance to a mesh as near as points spread over it can tell: much quicker than to its triangles."""

import os

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from ..mesh import Mesh
from .sampling import spread_over


class RoughDistance:
    """Distance to the nearest of many dots on a mesh, for looking where something lies before it is measured.

    Parameters
    ----------
    mesh : any mesh with an area
    spacing : of the dots, millimetres

    Notes
    -----
    A place of the mesh is half a spacing from the next dot in the middle, three at most. Seen from far off that counts
    little: at a distance d over a smooth place the answer is too large by (gap)² / 2d. It is never too small, and as
    the distance to a set of points it changes by no more than the way gone, so that `level_band` may rest on it.
    """

    def __init__(self, mesh: Mesh, spacing: float) -> None:
        self._tree = cKDTree(spread_over(mesh, spacing).points, leafsize=48)

    def query(self, points: NDArray[np.float64], far: float = np.inf) -> NDArray[np.float64]:
        """(n,) distance of (n, 3) points in millimetres; infinite where it is more than `far`."""
        distance: NDArray[np.float64] = self._tree.query(
            points, distance_upper_bound=far * (1 + 1e-9), workers=os.cpu_count() or 1
        )[0]
        return distance
