"""The face seen from the front, and how a place in that view becomes a landmark."""

import numpy as np
from numpy.typing import NDArray

from ...geometry.mesh import Mesh
from ...geometry.views.depth_map import DepthMap, depth_map
from .profile_search import Found

_FINE = 0.4
FOLD = 0.8
"""Fineness at which folds of lids and lips are looked for, mm."""


def front_of(posed: Mesh, size: float) -> DepthMap:
    """The face from the front, from under the mouth to over the brows."""
    low, high = (-62.0 * size, -85.0 * size), (62.0 * size, 55.0 * size)
    near = (posed.vertices[:, 1] < -20.0 * size) & (np.abs(posed.vertices[:, 0]) < 70 * size)
    near &= (posed.vertices[:, 2] > low[1] - 8) & (posed.vertices[:, 2] < high[1] + 8)
    triangles = posed.triangles[near[posed.triangles].all(axis=1)]
    return depth_map(posed.vertices[:, [0, 2, 1]] * [1, 1, -1], triangles, low, high, _FINE)


def put(found: Found, name: str, front: DepthMap, place: NDArray[np.float64], confidence: float) -> None:
    """Put a place seen from the front on the surface; left out where there is none."""
    depth = float(front.at(place[:1], place[1:])[0])
    if np.isfinite(depth):
        found[name] = (np.array([place[0], -depth, place[1]]), confidence)
