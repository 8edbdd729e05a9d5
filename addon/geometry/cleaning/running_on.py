"""Whether a surface runs on through points that were taken for none of its own."""

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from ..clouds.normals import least_axis


def runs_on(
    surface: NDArray[np.float64],
    doubtful: NDArray[np.float64],
    near: float,
    level: float,
    steep: float = 0.3,
    asked: int = 6,
) -> NDArray[np.bool_]:
    """Which points lie in the plane of the few points of a surface nearest to them.

    Parameters
    ----------
    surface : (n, 3) float array, millimetres
    doubtful : (m, 3) float array, millimetres
    near : how far the last of those may lie, millimetres
    level : how high a point may stand over their plane, millimetres
    steep : the same, as a share of the way to the last of them
    asked : how many of them are asked: a string of points that stands off a surface has few along it
    """
    if len(surface) < asked or not len(doubtful):
        return np.zeros(len(doubtful), bool)
    apart, rows = cKDTree(surface, balanced_tree=False).query(doubtful, asked, workers=-1)
    way = surface[rows] - doubtful[:, None]
    middle = way.mean(axis=1)
    way -= middle[:, None]
    axis, _ = least_axis(np.einsum("mki,mkj->mij", way, way))
    height = np.abs(np.einsum("mi,mi->m", middle, axis))
    lies: NDArray[np.bool_] = (apart[:, -1] < near) & (height < np.minimum(level, steep * apart[:, -1]))
    return lies
