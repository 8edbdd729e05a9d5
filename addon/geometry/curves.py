"""Closed curves: lengths along them, inside and outside, and the best closed path through a fan of choices."""

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from .errors import NotPossible


def resampled(curve: NDArray[np.float64], count: int) -> NDArray[np.float64]:
    """The closed polyline (k, d) with `count` points at equal steps along it, the first kept."""
    ring = np.concatenate([curve, curve[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(ring, axis=0), axis=1))])
    if along[-1] == 0:
        raise NotPossible("a closed curve whose points all coincide has no length to divide")
    steps = np.linspace(0.0, along[-1], count + 1)[:-1]
    return np.column_stack([np.interp(steps, along, column) for column in ring.T])


def length(curve: NDArray[np.float64]) -> float:
    """Length of the closed polyline (k, d)."""
    return float(np.linalg.norm(np.diff(curve, axis=0, append=curve[:1]), axis=1).sum())


def inside(points: NDArray[np.float64], polygon: NDArray[np.float64]) -> NDArray[np.bool_]:
    """(n,) which of the (n, 2) points lie within the closed (k, 2) polygon, by crossings of a ray to the right."""
    found = np.zeros(len(points), dtype=bool)
    x, y = points.T
    for (ax, ay), (bx, by) in zip(polygon, np.roll(polygon, -1, axis=0), strict=True):
        if ay != by:
            crosses = (ay > y) != (by > y)
            found ^= crosses & (x < (bx - ax) * (y - ay) / (by - ay) + ax)
    return found


def depth_inside(points: NDArray[np.float64], polygon: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n,) distance of the (n, 2) points to the closed (k, 2) polygon, positive inside and negative outside.

    Notes
    -----
    To the two sides that meet at the nearest point of a resampling of the polygon at a thousandth of its length: exact
    where the polygon bends no faster than that.
    """
    ring = resampled(polygon, 1000)
    _, at = KDTree(ring).query(points)
    here = ring[at]
    near = np.full(len(points), np.inf)
    for step in (-1, 1):
        side = ring[(at + step) % len(ring)] - here
        share = ((points - here) * side).sum(axis=1) / np.maximum((side**2).sum(axis=1), 1e-300)
        away = points - here - np.clip(share, 0.0, 1.0)[:, None] * side
        near = np.minimum(near, np.linalg.norm(away, axis=1))
    return np.asarray(np.where(inside(points, polygon), near, -near))


def best_ring(costs: NDArray[np.float64], bend: float, reach: int) -> NDArray[np.int64]:
    """The closed path through a fan of spokes that costs least.

    Parameters
    ----------
    costs : (k, m) cost of passing spoke i at position j; infinite where forbidden
    bend : added for each squared step in position between neighbouring spokes
    reach : largest step between neighbouring spokes, positions

    Returns
    -------
    (k,) position on each spoke

    Raises
    ------
    NotPossible
        No closed path keeps within the reach and off the forbidden places.

    Notes
    -----
    Dynamic programming round the fan; run twice, the second time pinned where the first passed the first spoke in
    mid-run, so that the ends meet. Exact for the pinned path.
    """
    spokes = len(costs)
    free = _cheapest(np.concatenate([costs, costs]), bend, reach)
    if free is None:
        raise NotPossible("no closed curve keeps within the band it may run in")
    gate = np.full(costs.shape[1], np.inf)
    gate[free[spokes]] = 0.0  # spoke 0, seen in the middle of the doubled fan, far from its free ends
    ring = _cheapest(np.concatenate([costs, costs[:1]]), bend, reach, gate)
    if ring is None:
        raise NotPossible("no closed curve keeps within the band it may run in")
    return ring[:-1]


def _cheapest(
    costs: NDArray[np.float64], bend: float, reach: int, gate: NDArray[np.float64] | None = None
) -> NDArray[np.int64] | None:
    """Position on each row of the cheapest path from first to last, both passing the gate if there is one."""
    shifts = np.arange(-reach, reach + 1)
    total = costs[0] + (0.0 if gate is None else gate)
    back = np.zeros(costs.shape, dtype=np.int64)
    width = costs.shape[1]
    for row in range(1, len(costs)):
        padded = np.pad(total, reach, constant_values=np.inf)
        options = np.stack([padded[reach + shift : reach + shift + width] + bend * shift**2 for shift in shifts])
        chosen = np.argmin(options, axis=0)
        back[row] = np.arange(width) + shifts[chosen]
        total = options[chosen, np.arange(width)] + costs[row]
    if gate is not None:
        total = total + gate
    if not np.isfinite(total.min()):
        return None
    path = np.empty(len(costs), dtype=np.int64)
    path[-1] = int(np.argmin(total))
    for row in range(len(costs) - 1, 0, -1):
        path[row - 1] = back[row, path[row]]
    return path
