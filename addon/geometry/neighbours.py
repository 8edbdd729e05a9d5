"""Which points are near which: sorted for memory, duplicates held once, nearest ones found."""

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from .errors import BadCloud


def morton_codes(cells: NDArray[np.integer[Any]]) -> NDArray[np.uint64]:
    """The number of each cell along a curve that keeps near cells near (Morton order).

    Parameters
    ----------
    cells : (n, 3) int array, each from 0 to 2**21 - 1

    Returns
    -------
    (n,) uint64 array: the bits of the three indices in turn.
    """
    codes = np.zeros(len(cells), np.uint64)
    for axis in range(3):
        bits = cells[:, axis].astype(np.uint64)
        for shift, mask in _SPREAD:
            bits = (bits | bits << np.uint64(shift)) & np.uint64(mask)
        codes |= bits << np.uint64(axis)
    return codes


_SPREAD = (
    (32, 0x1F00000000FFFF),
    (16, 0x1F0000FF0000FF),
    (8, 0x100F00F00F00F00F),
    (4, 0x10C30C30C30C30C3),
    (2, 0x1249249249249249),
)


def tree_order(points: NDArray[np.float64]) -> NDArray[np.int64]:
    """The rows of `points` in an order that keeps neighbours together: half the time of every search after it.

    Parameters
    ----------
    points : (n, 3) float array, any unit

    Returns
    -------
    (n,) int array. Points in one cell of a 2**21 grid over the cloud keep the order they came in.
    """
    return np.argsort(_codes(points), kind="stable")


def _codes(points: NDArray[np.float64]) -> NDArray[np.uint64]:
    """The cell of each point in a grid of 2**21 a side over the cloud, along the Morton curve."""
    if not len(points):
        return np.zeros(0, np.uint64)
    low = points.min(axis=0)
    size = float((points.max(axis=0) - low).max())
    return morton_codes(((points - low) * ((2**21 - 1) / size if size > 0 else 0.0)).astype(np.int64))


@dataclass(frozen=True, eq=False)
class Arranged:
    """Points with exact duplicates held once, in tree order, and the way back.

    `points` (u, 3) are the distinct points; `rows` (u,) the first row of the cloud each came from; `back` (n,) for
    each row of the cloud its row here, so that `values[back]` spreads what was found over the cloud.
    """

    points: NDArray[np.float64]
    rows: NDArray[np.int64]
    back: NDArray[np.int64]

    @cached_property
    def tree(self) -> cKDTree:
        """The k-d tree of the distinct points."""
        return cKDTree(self.points, leafsize=12, balanced_tree=False, compact_nodes=True)

    def nearest(self, count: int, bound: float = np.inf) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
        """The nearest other points of each distinct point.

        Parameters
        ----------
        count : how many
        bound : nothing farther than this is found, in the points' unit

        Returns
        -------
        distances : (u, count) ascending, inf where there are not so many
        rows : (u, count) rows of `points`, u where there are not so many
        """
        distances, rows = self.tree.query(self.points, count + 1, distance_upper_bound=bound, workers=-1)
        return distances[:, 1:], rows[:, 1:]


def arranged(points: NDArray[np.float64]) -> Arranged:
    """Points ready for searching: a k-d tree over many equal points takes minutes where it should take seconds.

    Parameters
    ----------
    points : (n, 3) float array

    Raises
    ------
    BadCloud
        There are no points.
    """
    if not len(points):
        raise BadCloud("the cloud is empty: there is nothing to look for neighbours in")
    codes = _codes(points)
    order = np.argsort(codes, kind="stable")
    codes = codes[order]
    tied = np.zeros(len(codes), bool)
    tied[1:] = codes[1:] == codes[:-1]
    tied[:-1] |= tied[1:]
    if tied.any():  # within one cell of the curve equal points need not lie side by side
        crowd = order[tied]
        x, y, z = points[crowd].T
        order[tied] = crowd[np.lexsort((z, y, x, codes[tied]))]
    ordered = points[order]
    starts = np.ones(len(order), bool)
    starts[1:] = (ordered[1:] != ordered[:-1]).any(axis=1)
    back = np.empty(len(order), np.int64)
    back[order] = np.cumsum(starts) - 1
    return Arranged(ordered[starts], order[starts], back)
