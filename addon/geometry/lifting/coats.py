"""The solid of all that lies near some triangles: what has to stay beside them."""

import numpy as np

from ..distances.rough_distance import RoughDistance
from ..mesh import Mesh
from ..printing.offset import level_band
from ..surfacing.isosurface import isosurface_of_band

_STEPS = 4.0  # of the grid within the thickness
_DOTS = 12.0  # dots within the thickness: at three times their spacing a gap makes it thinner by a thirtieth


def coat(patch: Mesh, thick: float) -> Mesh:
    """The closed solid of all places within a distance of some triangles, on both of their sides.

    Parameters
    ----------
    patch : triangles, open or closed
    thick : how far it reaches from them, millimetres

    Returns
    -------
    Closed mesh, thicker by a fifth and thinner nowhere; empty where there are no triangles.
    """
    if not len(patch.triangles):
        return Mesh(np.zeros((0, 3)), np.zeros((0, 3), np.int32))
    corners = patch.vertices[np.unique(patch.triangles)]
    # Thicker, for between the nodes of the grid creases are cut short by up to that much of a step.
    step = thick / _STEPS
    level = thick + 0.75 * step
    reach = np.array([corners.min(axis=0) - level, corners.max(axis=0) + level])
    nodes, values = level_band(RoughDistance(patch, thick / _DOTS).query, level, reach, step)
    return isosurface_of_band(nodes, values, level, reach[0], step)
