"""Balls round triangles: which of many meet a ball about each of many points, by products of small matrices.

|q - g|² <= (r + R)², multiplied out, is a scalar product of six numbers known of the point with six of the triangle.
Single precision will do, for both sides allow for it: by 2 |q·g| <= |q|² + |g|² all that is summed up is at most twice
|q|² + |g|² + r² + R².
"""

from collections.abc import Iterator

import numpy as np
from scipy.spatial import cKDTree

from .clusters import CLUSTER
from .columns import ROUNDING, Corners, Reals, Rows, Singles, dots, squared_edges

_TRIED = 8
"""Clusters about a place in which the nearest ball is looked for."""
_TOGETHER = 512
"""Products of a cluster with as many points that are made at a time."""


class Balls:
    """Balls round triangles, in clusters.

    Parameters
    ----------
    rows : (m, 6) array, as `ball_rows` makes it
    middles : (3, m / CLUSTER) array, middles of the clusters by columns
    """

    def __init__(self, rows: Singles, middles: Reals) -> None:
        self._clusters = rows.reshape(-1, CLUSTER * 6)
        self._middles = cKDTree(middles.T, leafsize=16)

    def nearest(self, places: Reals, asking: Singles) -> Rows:
        """(n, k) balls nearest to (n, k, 6) points, among those of the few clusters about (n, 3) places."""
        tried = min(_TRIED, len(self._clusters))
        clusters = self._middles.query(places, k=np.arange(1, tried + 1))[1]
        found = np.empty(asking.shape[:2], np.int64)
        for start in range(0, len(places), _TOGETHER // _TRIED):
            some = slice(start, start + _TOGETHER // _TRIED)
            balls = self._clusters.take(clusters[some], axis=0).reshape(-1, tried * CLUSTER, 6)
            nearest = np.matmul(asking[some], balls.transpose(0, 2, 1)).argmin(axis=2)
            found[some] = np.take_along_axis(clusters[some], nearest // CLUSTER, axis=1) * CLUSTER + nearest % CLUSTER
        return found

    def met(self, asking: Singles, rows: Rows, clusters: Rows) -> Iterator[tuple[Rows, Rows]]:
        """Pairs of a point and a ball it meets, some at a time.

        Parameters
        ----------
        asking : (n, 6, k) array: as of `asking_rows`, for k points to a row, k a power of two
        rows, clusters : pairs of one of the n rows and a cluster to be looked through; point p of row i is i k + p
        """
        count = asking.shape[2]
        for start in range(0, len(rows), _TOGETHER):
            row, cluster = rows[start : start + _TOGETHER], clusters[start : start + _TOGETHER]
            balls = self._clusters.take(cluster, axis=0).reshape(-1, CLUSTER, 6)
            hits = np.flatnonzero(np.matmul(balls, asking.take(row, axis=0)) <= 0)
            member = hits // count  # counted on from pair to pair
            pair = member // CLUSTER
            starts = (cluster - np.arange(len(row))) * CLUSTER
            yield (row * count).take(pair) + (hits & count - 1), starts.take(pair) + member


def ball_rows(corners: Corners) -> Singles:
    """(m, 6) rows of the smallest balls round triangles."""
    squares = squared_edges(corners)
    longest, total = squares.max(axis=0), squares.sum(axis=0)
    # The circumcentre's weights; with a right angle or a wider one, the middle of the longest edge.
    acute = 2 * longest < total
    round_all = squares * (total - 2 * squares)
    round_all /= np.where(acute, round_all.sum(axis=0), 1.0)
    opposite = squares.argmax(axis=0) == np.arange(3)[:, None]
    weights = np.where(acute, round_all, np.where(opposite, 0.0, 0.5))
    middle = weights[0] * corners[0] + weights[1] * corners[1] + weights[2] * corners[2]
    squared = np.max([dots(corner - middle, corner - middle) for corner in corners], axis=0)
    off = dots(middle, middle)
    summed = [off - squared - ROUNDING * (off + squared), np.ones_like(off)]
    rows: Singles = np.concatenate([-2 * middle, [-2 * np.sqrt(squared), *summed]]).T.astype(np.float32, order="C")
    return rows


def asking_rows(points: Reals, reach: Reals | float) -> Singles:
    """(n, 6) rows of (3, n) points and radii about them: the product with a ball's row is at most 0 if they meet."""
    off, squared = dots(points, points), np.broadcast_to(np.square(reach), points.shape[1:])
    summed = [np.ones_like(off), off - squared - ROUNDING * (off + squared)]
    rows: Singles = np.concatenate([points, [np.sqrt(squared), *summed]]).T.astype(np.float32, order="C")
    return rows
