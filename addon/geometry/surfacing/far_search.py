"""Searches among points from places that may lie far off, where a k-d tree alone takes a hundred times as long."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation
from scipy.spatial import cKDTree

from ..clouds.thinning import thinned
from ..neighbours import Arranged


@dataclass(frozen=True, eq=False)
class Seen:
    """Which nodes of a grid lie within the `bounds` (u,), millimetres, of their nearest point.

    The search for all the points that have a say at a node takes long where there are none: this one asks for the
    nearest only, and that only where no point lies in the cells of four nodes a side around (`near`, from `low` on).
    """

    held: Arranged
    origin: NDArray[np.float64]
    step: float
    bounds: NDArray[np.float64]
    near: NDArray[np.bool_]
    low: NDArray[np.int64]

    @classmethod
    def made(cls, held: Arranged, origin: NDArray[np.float64], step: float, bounds: NDArray[np.float64]) -> "Seen":
        """Of the grid whose node (i, j, k) lies at origin + (i, j, k) * step."""
        cells = np.floor((held.points - origin) / (4 * step)).astype(np.int64)
        low = cells.min(axis=0) - 1
        near = np.zeros(cells.max(axis=0) - low + 2, bool)
        near[tuple((cells - low).T)] = True
        return cls(held, origin, step, bounds, binary_dilation(near, np.ones((3, 3, 3))), low)

    def at(self, nodes: NDArray[np.int64]) -> NDArray[np.bool_]:
        """(m,) True for nodes within, and for some a little beyond."""
        cells = (nodes >> 2) - self.low
        known = ((cells >= 0) & (cells < self.near.shape)).all(axis=1)
        seen = np.zeros(len(nodes), bool)
        seen[known] = self.near[tuple(cells[known].T)]
        rest = np.flatnonzero(~seen)
        places, most = self.origin + nodes[rest] * self.step, self.bounds.max()
        gap, row = self.held.tree.query(places, distance_upper_bound=most, workers=-1)
        seen[rest] = gap < np.append(self.bounds, 0.0)[row]
        return seen


def nearest(
    held: Arranged, places: NDArray[np.float64], count: int, sure: float
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """The nearest points of each place.

    Parameters
    ----------
    held : the points
    places : (n, 3) float array
    count : how many; where there are not so many the nearest stands in
    sure : millimetres up to which the distances are exact

    Returns
    -------
    distances, rows : (n, count), millimetres and rows of the points

    Notes
    -----
    Beyond `sure` the nearest are taken from points a quarter of that apart: from afar a great many are nearly as near,
    and a search among all of them takes a hundred times as long.
    """
    some = np.arange(1, count + 1)
    apart, found = held.tree.query(places, some, distance_upper_bound=sure, workers=-1)
    rows = found.astype(np.int64)
    far = np.flatnonzero(rows[:, 0] == len(held.points))
    few = thinned(held.points, sure / 4)
    chosen = np.append(few.order[few.starts], len(held.points))
    apart[far], found = cKDTree(held.points[chosen[:-1]]).query(places[far], some, workers=-1)
    rows[far] = chosen[found]
    missing = rows == len(held.points)  # there are not so many
    return np.where(missing, apart[:, :1], apart), np.where(missing, rows[:, :1], rows)
