"""One point for all that lie in one small cell: evens out a cloud and averages its noise."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..errors import BadCloud
from ..neighbours import box_round, morton_codes, stable_order


@dataclass(frozen=True, eq=False)
class Thinned:
    """The mean point of each occupied cell, in tree order.

    `points` (u, 3); `cells` (u, 3) the indices of their cells; `counts` (u,) how many points each stands for;
    `order` (n,) the cloud's rows sorted by cell and `starts` (u,) where each cell begins in it, so that any column
    can be averaged alike.
    """

    points: NDArray[np.float64]
    cells: NDArray[np.int64]
    counts: NDArray[np.int64]
    order: NDArray[np.int64]
    starts: NDArray[np.int64]

    def sums(self, values: NDArray[np.generic]) -> NDArray[np.float64]:
        """(u, ...) sums of a column of the cloud over each cell."""
        return _sums(values, self.order, self.starts)

    def means(self, values: NDArray[np.generic]) -> NDArray[np.float64]:
        """(u, ...) means of a column of the cloud over each cell."""
        counts = self.counts.reshape(-1, *[1] * (values.ndim - 1))
        mean: NDArray[np.float64] = self.sums(values) / counts
        return mean


def thinned(points: NDArray[np.float64], size: float) -> Thinned:
    """The cloud with one point for each cell of a regular grid.

    Parameters
    ----------
    points : (n, 3) float array, millimetres
    size : side of a cell, millimetres, above 0

    Raises
    ------
    BadCloud
        The cloud is empty, or so wide that 2**21 cells do not span it.
    """
    if not len(points):
        raise BadCloud("the cloud is empty: there is nothing to thin")
    low, high = box_round(points)
    if float((high - low).max()) >= size * (2**21 - 1):
        raise BadCloud(f"the cloud spans more than {size * 2**21:.0f}: remove its far strays first")
    cells = ((points - low) / size).astype(np.int64)
    codes = morton_codes(cells)
    order = stable_order(codes)
    codes = codes[order]
    starts = np.flatnonzero(np.concatenate([[True], codes[1:] != codes[:-1]]))
    counts = np.diff(np.append(starts, len(points)))
    return Thinned(_sums(points, order, starts) / counts[:, None], cells[order[starts]], counts, order, starts)


def _sums(values: NDArray[np.generic], order: NDArray[np.int64], starts: NDArray[np.int64]) -> NDArray[np.float64]:
    ordered = values.take(order, axis=0).astype(np.float64, copy=False)
    if ordered.ndim == 1:
        return np.add.reduceat(ordered, starts)
    return np.stack([np.add.reduceat(ordered[:, axis], starts) for axis in range(ordered.shape[1])], axis=1)
