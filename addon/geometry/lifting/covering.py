"""Where one solid lies over another: what of its under side nobody sees."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from ..distances.rays import RayCaster
from ..measures import triangle_normals
from ..mesh import Mesh
from ..solids.seams import SEAM

REACH = 1.0
"""Millimetres over a face within which what lies there hides it: hair at 1/6 stands off a scalp by less."""
_JOINED = 2 * SEAM
"""Millimetres off another solid within which a face lies on it, as the two rims of a parting do: with a part of it,
for the rim about a spigot ends over the widened mouth of the groove."""
_LOOKS = np.array([[1 / 3, 1 / 3, 1 / 3], [0.9, 0.05, 0.05], [0.05, 0.9, 0.05], [0.05, 0.05, 0.9]])
"""Places of a face that are asked, as shares of its corners: all of it has to be hidden."""


def covered(mesh: Mesh, over: Mesh, wanted: NDArray[np.bool_], beside: Sequence[Mesh] = ()) -> NDArray[np.bool_]:
    """(m,) which of the wanted faces of a mesh look straight at another one, all over, before anything of their own.

    Parameters
    ----------
    mesh, over : closed meshes
    wanted : (m,) the faces that are asked
    beside : further solids that may stand between; faces that lie on one of them are hidden by it

    Notes
    -----
    Faces of a joint that are off the other one's all over, as spigot and groove are by their clearance, are not hidden:
    they are what fits, and have to stay as they are.
    """
    rows = np.flatnonzero(wanted)
    found = np.zeros(len(mesh.triangles), bool)
    if not len(rows):
        return found
    starts = np.einsum("lc,ncd->nld", _LOOKS, mesh.corners[rows]).reshape(-1, 3)
    ways = np.repeat(triangle_normals(mesh)[rows], len(_LOOKS), axis=0)
    own = np.repeat(rows.astype(np.int32), len(_LOOKS))
    away = RayCaster(over).first_hit(starts, ways, farthest=REACH)[0]
    before = RayCaster(mesh).first_hit(starts, ways, own, farthest=REACH)[0]
    off = np.full(len(starts), np.inf)
    for other in beside:
        off = np.minimum(off, RayCaster(other).first_hit(starts, ways, farthest=REACH)[0])
    joined = (off < _JOINED).reshape(-1, len(_LOOKS))
    hidden = joined | (np.isfinite(away) & (away < np.minimum(before, off))).reshape(-1, len(_LOOKS))
    found[rows] = hidden.all(axis=1) | joined.any(axis=1)
    return found


def near(mesh: Mesh, places: NDArray[np.float64], far: float) -> NDArray[np.bool_]:
    """(m,) which faces of a mesh have a corner that lies so near to one of some places."""
    low, high = places.min(axis=0) - far, places.max(axis=0) + far
    rows = np.flatnonzero(((mesh.vertices > low) & (mesh.vertices < high)).all(axis=1))
    away, _ = cKDTree(places).query(mesh.vertices[rows], distance_upper_bound=far)
    within = np.zeros(len(mesh.vertices), bool)
    within[rows[np.isfinite(away)]] = True
    return np.asarray(within[mesh.triangles].any(axis=1))
