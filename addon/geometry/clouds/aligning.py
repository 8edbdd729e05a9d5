"""Points laid onto a surface of points, step by step: point to plane, the farther pairs trimmed."""

from collections.abc import Sequence
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from ..transforms import applied, towards_planes
from .normals import normals_through
from .thinning import thinned

_STILL = 3e-4  # a step of so few reaches, in length and in radians of a hundred of them, is the last
_PLANE = 14  # points, itself among them, whose plane gives a point its normal: each is a mean of several already


class Skin:
    """A cloud with one point for each cell of `size` mm, and the normals of the planes round those asked for."""

    def __init__(self, points: NDArray[np.float64], size: float) -> None:
        self.points = thinned(points, size).points
        self._normals = np.empty_like(self.points)
        self._known = np.zeros(len(self.points), bool)

    @cached_property
    def tree(self) -> cKDTree:
        """The k-d tree of the points, which lie in tree order as they are."""
        return cKDTree(self.points, leafsize=12, balanced_tree=False)

    def normals(self, rows: NDArray[np.int64]) -> NDArray[np.float64]:
        """(m, 3) normals of the planes through the neighbours of these points."""
        asked = np.zeros(len(self.points), bool)
        asked[rows] = True
        new = np.flatnonzero(asked & ~self._known)
        if len(new):
            near = self.tree.query(self.points[new], min(_PLANE, len(self.points)), workers=-1)[1]
            self._normals[new], _ = normals_through(self.points, near)
            self._known[new] = True
        return self._normals.take(rows, axis=0)


class Target:
    """Skins as they lie, each under its (4, 4) move, to align others to; their points count on from skin to skin."""

    def __init__(self, skins: Sequence[Skin], moves: Sequence[NDArray[np.float64]]) -> None:
        self._skins, self._moves = skins, moves
        self._starts = np.cumsum([0, *(len(skin.points) for skin in skins)])

    @property
    def points(self) -> NDArray[np.float64]:
        """(n, 3) all of them, mm."""
        return np.concatenate([applied(move, skin.points) for skin, move in zip(self._skins, self._moves, strict=True)])

    def nearest(
        self, points: NDArray[np.float64], bound: float = np.inf
    ) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
        """(n,) distance to the nearest point of any skin, and its row; infinite where none is within the bound."""
        apart, rows = np.full(len(points), np.inf), np.zeros(len(points), np.int64)
        for skin, move, start in zip(self._skins, self._moves, self._starts, strict=False):
            there = points if _is_still(move) else applied(np.linalg.inv(move), points)  # the skin's own tree serves
            away, row = skin.tree.query(there, distance_upper_bound=bound, workers=-1)
            nearer = away < apart
            apart[nearer], rows[nearer] = away[nearer], start + row[nearer]
        return apart, rows

    def planes(self, rows: NDArray[np.int64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """(m, 3) places of these points and normals of the planes through their neighbours in their own skin."""
        places, normals = np.empty((len(rows), 3)), np.empty((len(rows), 3))
        for skin, move, start, end in zip(self._skins, self._moves, self._starts, self._starts[1:], strict=False):
            mine = np.flatnonzero((rows >= start) & (rows < end))
            own = rows[mine] - start
            at, facing = skin.points.take(own, axis=0), skin.normals(own)
            still = _is_still(move)
            places[mine] = at if still else applied(move, at)
            normals[mine] = facing if still else facing @ move[:3, :3].T
        return places, normals


def _is_still(move: NDArray[np.float64]) -> bool:
    """Whether a move leaves everything where it is, as that of the first pass does."""
    return bool((move == np.eye(4)).all())


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
    apart, rows = target.nearest(moved, 2 * size)
    met = np.isfinite(apart)
    if not met.any():
        return 0.0, float("inf")
    places, normals = target.planes(rows[met])
    off = np.einsum("ij,ij->i", moved[met] - places, normals)
    return float(met.mean()), float(np.sqrt((off**2).mean()))


def aligned(
    points: NDArray[np.float64],
    target: Target,
    start: NDArray[np.float64],
    reach: float,
    rounds: int,
    listened: int = 8_000,
    share: float = 0.7,
) -> NDArray[np.float64]:
    """The move after trimmed point-to-plane steps; the reach of a pair shrinks with the distances found.

    Parameters
    ----------
    points : (n, 3), mm
    target : what they are laid on
    start : (4, 4) move to begin with
    reach : mm within which a point may have a partner at first
    rounds : steps at most
    listened : of more points than this only so many are listened to, about
    share : of the pairs in reach, the nearest, that a step goes by; more once the skins lie on each other
    """
    points = points[:: max(1, round(len(points) / listened))]
    matrix, still = start.copy(), _STILL * reach
    for _ in range(rounds):
        moved = applied(matrix, points)
        apart, rows = target.nearest(moved, reach)
        met = np.flatnonzero(np.isfinite(apart))
        if len(met) < 20:
            break
        kept = min(max(20, int(share * len(met))), len(met)) - 1
        near = met[apart[met] <= np.partition(apart[met], kept)[kept]]
        step, motion = towards_planes(moved[near], *target.planes(rows[near]))
        matrix = step @ matrix
        if np.abs(motion[3:]).max() < still and np.abs(motion[:3]).max() < still / 100:
            break
        reach = max(min(reach, 6 * float(np.median(apart[near]))), 1e-3 * reach)
    return matrix
