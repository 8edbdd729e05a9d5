"""Whether a surface runs on through points that were taken for none of its own."""

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from ..clouds.normals import least_axis


def runs_on(
    surface: NDArray[np.float64], doubtful: NDArray[np.float64], near: float, level: float
) -> NDArray[np.bool_]:
    """Which points lie in the plane of the six points of a surface nearest to them.

    Parameters
    ----------
    surface : (n, 3) float array, millimetres
    doubtful : (m, 3) float array, millimetres
    near : how far the last of the six may lie, millimetres
    level : how high a point may stand over their plane, millimetres
    """
    if len(surface) < _ASKED or not len(doubtful):
        return np.zeros(len(doubtful), bool)
    apart, rows = cKDTree(surface, balanced_tree=False).query(doubtful, _ASKED, workers=-1)
    way = surface[rows] - doubtful[:, None]
    middle = way.mean(axis=1)
    way -= middle[:, None]
    axis, _ = least_axis(np.einsum("mki,mkj->mij", way, way))
    height = np.abs(np.einsum("mi,mi->m", middle, axis))
    lies: NDArray[np.bool_] = (apart[:, -1] < near) & (height < np.minimum(level, _STEEP * apart[:, -1]))
    return lies


_ASKED = 6
_STEEP = 0.3  # of the way to the last of them, how high a point may stand anyhow
