"""Where lashes, flakes and wires that hang before the skin about an eye grow out of it: no skin to go by."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, diags_array
from scipy.sparse.linalg import spsolve
from scipy.spatial import KDTree

from ...geometry.mesh import Mesh
from ...geometry.views.inside_view import InsideView, view_from_inside
from ..eyes.globe_fit import AHEAD
from .lid_corners import eased
from .lid_rings import ways_to

_APART = 0.6  # mm between the first surface and the last that a ray meets, from which something hangs there
_REACH = 2.5  # mm about what hangs that its roots reach
_ROOTED = 1.2  # mm by which roots stand out of a skin stretched under what hangs
_ROOTS = (1.5, 1.0)  # mm about a root that is not believed either, and over which trust comes back
_HALF, _STEP = 24.0, 0.5  # mm about the middle of the fissure that are looked at


@dataclass(frozen=True, eq=False)
class Covered:
    """The (n, 2) places on the plane of the lids where what hangs before the skin has its roots; none on most scans."""

    places: NDArray[np.float64]

    def share(self, at: NDArray[np.float64]) -> NDArray[np.float64]:
        """(m,) from 0, skin as it was scanned, to 1, a root, at (m, 2) places."""
        if not len(self.places):
            return np.zeros(len(at))
        away = KDTree(self.places).query(at, distance_upper_bound=sum(_ROOTS))[0]
        return 1.0 - eased((np.minimum(away, sum(_ROOTS)) - _ROOTS[0]) / _ROOTS[1])


NOTHING = Covered(np.zeros((0, 2)))
"""Skin before which nothing hangs."""


def covered_about(life: Mesh, view: InsideView, frame: NDArray[np.float64], reach: float, nearest: float) -> Covered:
    """What hangs before the skin that a view from behind sees.

    Parameters
    ----------
    life : the head at life size
    view : from behind the globe, of the first surface that faces away
    frame : (3, 3) rows across, up and ahead of the plane of the lids
    reach, nearest : of the view
    """
    last = view_from_inside(
        life,
        view.centre,
        AHEAD,
        reach,
        pixel=2 * view.picture.pixel,
        widest=0.6,
        nearest=nearest,
        outer=True,
        last=True,
    )
    ticks = np.arange(-_HALF, _HALF + _STEP, _STEP)
    grid = np.stack(np.meshgrid(ticks, ticks), axis=-1)
    places = grid.reshape(-1, 2)
    ways = ways_to(places, frame)
    skin = view.distances(ways)
    apart = last.distances(ways) - skin
    hangs = np.isfinite(apart) & (apart > _APART)
    if not hangs.any():
        return NOTHING
    hidden = (KDTree(places[hangs]).query(places)[0] < _REACH) | ~np.isfinite(skin)
    bare = stretched(np.where(hidden, 0.0, skin).reshape(grid.shape[:2]), hidden.reshape(grid.shape[:2])).ravel()
    return Covered(places[hidden & (skin - bare > _ROOTED)])


def stretched(field: NDArray[np.float64], hidden: NDArray[np.bool_]) -> NDArray[np.float64]:
    """The (r, c) field with its hidden places filled by a skin stretched between the others: it rises over none."""
    number = np.full(field.shape, -1)
    number[hidden] = np.arange(hidden.sum())
    rows, columns = np.nonzero(hidden)
    count = len(rows)
    links, weights, known = [], np.zeros(count), np.zeros(count)
    for down, right in ((0, 1), (0, -1), (1, 0), (-1, 0)):
        r, c = rows + down, columns + right
        inside = (r >= 0) & (c >= 0) & (r < field.shape[0]) & (c < field.shape[1])
        r, c = np.where(inside, r, rows), np.where(inside, c, columns)
        other = number[r, c]
        free = inside & (other >= 0)
        weights += inside
        known += np.where(inside & ~free, field[r, c], 0.0)
        links.append(coo_array((np.ones(free.sum()), (np.flatnonzero(free), other[free])), shape=(count, count)))
    filled = field.copy()
    filled[hidden] = spsolve((diags_array(weights) - sum(links)).tocsc(), known)
    return filled
