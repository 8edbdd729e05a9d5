"""Points laid onto a surface of points, step by step: point to plane, the farther pairs trimmed."""

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from .neighbours import arranged
from .normals import normals_through
from .thinning import thinned
from .transforms import applied

_STILL_MM = 1e-5  # a step so small is the last
_TRIM = 0.7  # share of the pairs in reach, the nearest, that an alignment step listens to


class Target:
    """A cloud thinned to cells of `size` mm, with the normals of its planes where they are asked for, to align to."""

    def __init__(self, points: NDArray[np.float64], size: float) -> None:
        held = arranged(thinned(points, size).points)
        self.points, self.tree = held.points, held.tree
        self._normals = np.empty_like(held.points)
        self._known = np.zeros(len(held.points), bool)

    def normals(self, rows: NDArray[np.int64]) -> NDArray[np.float64]:
        """(m, 3) normals of the planes through the neighbours of these points."""
        asked = np.zeros(len(self.points), bool)
        asked[rows] = True
        new = np.flatnonzero(asked & ~self._known)
        if len(new):
            near = self.tree.query(self.points[new], min(17, len(self.points)), workers=-1)[1]
            self._normals[new], _ = normals_through(self.points, near)
            self._known[new] = True
        return self._normals[rows]


def meeting(moved: NDArray[np.float64], target: Target, size: float) -> tuple[float, float]:
    """Share of the points in reach of the target, and the RMS of their distances to its planes there.

    Parameters
    ----------
    moved : (n, 3) points where they lie, mm
    target : what they are laid on
    size : half the reach, mm

    Returns
    -------
    0 to 1, and mm; infinite where none is in reach.
    """
    apart, rows = target.tree.query(moved, distance_upper_bound=2 * size, workers=-1)
    met = np.isfinite(apart)
    if not met.any():
        return 0.0, float("inf")
    off = np.einsum("ij,ij->i", moved[met] - target.points[rows[met]], target.normals(rows[met]))
    return float(met.mean()), float(np.sqrt((off**2).mean()))


def aligned(
    points: NDArray[np.float64], target: Target, start: NDArray[np.float64], reach: float, rounds: int
) -> NDArray[np.float64]:
    """The move after trimmed point-to-plane steps; the reach of a pair shrinks with the distances found.

    Parameters
    ----------
    points : (n, 3), mm; of many, some 20,000 are listened to
    target : what they are laid on
    start : (4, 4) move to begin with
    reach : mm within which a point may have a partner at first
    rounds : steps at most

    Notes
    -----
    Chen and Medioni 1992, doi 10.1016/0262-8856(92)90066-C.
    """
    points = points[:: max(1, len(points) // 20_000)]
    matrix = start.copy()
    for _ in range(rounds):
        moved = applied(matrix, points)
        apart, rows = target.tree.query(moved, distance_upper_bound=reach, workers=-1)
        met = np.flatnonzero(np.isfinite(apart))
        if len(met) < 20:
            break
        near = met[np.argsort(apart[met], kind="stable")[: max(20, int(_TRIM * len(met)))]]
        normal, place = target.normals(rows[near]), moved[near]
        middle = place.mean(axis=0)
        levers = np.concatenate([np.cross(place - middle, normal), normal], axis=1)
        wanted = np.einsum("ij,ij->i", target.points[rows[near]] - place, normal)
        motion = np.linalg.lstsq(levers.T @ levers + 1e-9 * np.eye(6), levers.T @ wanted, rcond=None)[0]
        step = np.eye(4)
        step[:3, :3] = Rotation.from_rotvec(motion[:3]).as_matrix()
        step[:3, 3] = middle + motion[3:] - step[:3, :3] @ middle
        matrix = step @ matrix
        if np.abs(motion[3:]).max() < _STILL_MM and np.abs(motion[:3]).max() < _STILL_MM / 100:
            break
        reach = max(min(reach, 6 * float(np.median(apart[near]))), 1e-3 * reach)
    return matrix
