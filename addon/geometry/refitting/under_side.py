"""Which of a part's surface lies on what it is put on: its under side."""

import numpy as np
from numpy.typing import NDArray

from ..clouds.normals import vertex_normals
from ..distances.rays import RayCaster
from ..distances.sided import Sided
from ..measures import is_watertight
from ..mesh import Mesh

_AGAINST = -0.4  # cosine between the part's normal and the way off the surface under which a place faces it
_NEXT = 0.02  # rays start this far off the place they are cast from, over the part's own size in hundreds
_BEFORE = 0.15  # share of the part's size within which something before a place hides it


def faces_under(part: Mesh, ways: NDArray[np.float64]) -> NDArray[np.bool_]:
    """(n,) vertices whose surface looks against `ways`; all of them where the part is a sheet without an inside."""
    if not is_watertight(part):
        return np.ones(len(part.vertices), bool)
    facing: NDArray[np.bool_] = np.einsum("ij,ij->i", vertex_normals(part), ways) < _AGAINST
    return facing


def lying_on(part: Mesh, surface: Sided, reach: float) -> tuple[NDArray[np.bool_], NDArray[np.float64]]:
    """The vertices that lie on a surface, or under it, and each vertex's height over it.

    Parameters
    ----------
    part : closed, or a sheet
    surface : what it was made for
    reach : height up to which it lies on the surface, millimetres

    Returns
    -------
    (n,) mask and (n,) heights.
    """
    height, ways = surface.query(part.vertices)
    return faces_under(part, ways) & (height <= reach), height


def innermost(part: Mesh, ways: NDArray[np.float64]) -> NDArray[np.bool_]:
    """(n,) vertices that look inwards and have no other of the part before them.

    Parameters
    ----------
    part : closed, or a sheet
    ways : (n, 3) unit ways off what it shall lie on, near each vertex
    """
    mask = faces_under(part, ways)
    rows = np.flatnonzero(mask)
    size = float(np.linalg.norm(np.ptp(part.vertices, axis=0)))
    starts = part.vertices[rows] - _NEXT / 100 * size * ways[rows]
    met, _ = RayCaster(part).first_hit(starts, -ways[rows], farthest=_BEFORE * size)
    mask[rows] = ~(met < _BEFORE * size)
    return mask
