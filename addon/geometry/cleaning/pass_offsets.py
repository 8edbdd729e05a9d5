"""Passes that lie a little off each other: which of them, by what motion, and all of them laid together."""

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from ..clouds.normals import normals_through
from ..neighbours import arranged
from ..portions import in_portions
from ..progress import SILENT, Progress
from ..robust import BY_THE_MEDIAN
from .laying import Motion, Piece, motion_of


def passes_met(
    points: NDArray[np.float64], view: NDArray[np.integer[Any]], widest: float, progress: Progress = SILENT
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """The points with each misplaced pass laid onto the others, and (n,) the pass where it was moved, else -1.

    Parameters
    ----------
    points : (n, 3) float array, millimetres
    view : (n,) which pass saw each point
    widest : passes farther apart than this are left to `register`, millimetres

    Notes
    -----
    The pass that is farthest off all the others is moved, by the rigid motion that closes its gaps to their planes,
    until none is off by more than a third of the noise. A pass of a good capture is off by a twentieth of it.
    """
    names, counts = np.unique(view, return_counts=True)
    names = names[counts >= _FEWEST]
    moved = np.full(len(points), -1)
    if len(names) < 2:
        return points.copy(), moved
    skin = _Passes(points, {int(name): np.flatnonzero(view == name) for name in names})
    for turn in range(2 * len(names)):
        progress(turn / (2 * len(names)), "comparing passes")
        worst, motion, most = -1, None, 0.0
        for name in skin.rows:
            found, off, noise = skin.off(name, widest)
            if found is not None and off > max(most * 1.02, _BEARABLE * noise):
                worst, motion, most = name, found, off
        if motion is None:
            break
        skin.move(worst, motion)
        moved[skin.rows[worst]] = worst
    return skin.places, moved


_FEWEST = 300  # points of a pass that can be laid
_BEARABLE = 0.33  # of the noise
_LOOKED_AT = 4000  # points of a pass that are asked how far they lie off the others
_NEAREST, _PLANE = 8, 25  # points of other passes that say so; points that a normal is found from


class _Passes:
    """Passes as they lie, a tree for each, and the normals of the whole cloud, found where they are asked for."""

    def __init__(self, points: NDArray[np.float64], rows: dict[int, NDArray[np.int64]]) -> None:
        self.places, self.rows = points.copy(), rows
        self._held = arranged(points)
        self._normals = np.full(points.shape, np.nan)
        self._trees = {name: cKDTree(points[mine], balanced_tree=False) for name, mine in rows.items()}

    def move(self, name: int, motion: Motion) -> None:
        """Move a pass; its normals hardly turn."""
        mine = self.rows[name]
        self.places[mine] += motion.step(self.places[mine])
        self._trees[name] = cKDTree(self.places[mine], balanced_tree=False)

    def off(self, name: int, widest: float) -> tuple[Motion | None, float, float]:
        """The motion that lays a pass onto the others, how far it moves where they meet, and the noise there."""
        some = self.rows[name][:: max(1, len(self.rows[name]) // _LOOKED_AT)]
        apart, near = self._nearest(name, some, _BOUND * widest)
        met = np.isfinite(apart[:, -1])
        some, apart, near = some[met], apart[met], near[met]
        if len(some) < _FEWEST // 3:
            return None, 0.0, 0.0
        own, other = self._turned(some), self._turned(near)
        way = self.places[near] - self.places[some, None]
        cosine = np.abs(np.einsum("mki,mi->mk", other, own))
        height = np.einsum("mki,mi->mk", way, own)
        gap = np.median(height, axis=1)
        spread = np.median(np.abs(height - gap[:, None]), axis=1)
        noise = BY_THE_MEDIAN * float(np.median(spread))
        middle = np.linalg.norm(way.mean(axis=1) - gap[:, None] * own, axis=1)
        met = (np.abs(gap) < widest) & (cosine.min(axis=1) > 0.9) & (middle < apart[:, -1]) & (spread < 2 * noise)
        if met.sum() < _FEWEST // 3:
            return None, 0.0, noise
        piece = Piece(some[met], own[met], gap[met], np.empty(0, np.int64))
        motion, _ = motion_of(self.places, piece, noise)
        step = np.einsum("ij,ij->i", motion.step(self.places[some[met]]), own[met])
        return motion, float(np.sqrt((step**2).mean())), noise

    def _nearest(
        self, name: int, some: NDArray[np.int64], bound: float
    ) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
        """Distances and rows of the nearest points of the other passes, inf where there are not so many in bound."""
        apart, near = np.full((len(some), 1), np.inf), np.zeros((len(some), 1), np.int64)
        for other, tree in self._trees.items():
            if other != name:
                far, which = tree.query(self.places[some], _NEAREST, distance_upper_bound=bound, workers=-1)
                apart = np.concatenate([apart, far], axis=1)
                near = np.concatenate([near, self.rows[other][np.minimum(which, tree.n - 1)]], axis=1)
                order = np.argsort(apart, axis=1, kind="stable")[:, :_NEAREST]
                apart, near = np.take_along_axis(apart, order, 1), np.take_along_axis(near, order, 1)
        return apart, near

    def _turned(self, rows: NDArray[np.int64]) -> NDArray[np.float64]:
        """Normals of the points, those not known yet found in the cloud as it was given."""
        asked = np.zeros(len(self._normals), bool)
        asked[rows] = True
        new = np.flatnonzero(asked & np.isnan(self._normals[:, 0]))
        new = new[np.argsort(self._held.back[new])]  # in tree order
        points, tree = self._held.points, self._held.tree

        def found(part: slice) -> None:
            there = points[self._held.back[new[part]]]
            self._normals[new[part]], _ = normals_through(points, tree.query(there, _PLANE)[1])

        in_portions(len(new), _CHUNK, found)
        return self._normals[rows]


_BOUND = 3.0  # of the widest gap: a point farther off says nothing of it
_CHUNK = 4_000
