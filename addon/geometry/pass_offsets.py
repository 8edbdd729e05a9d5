"""Passes that lie a little off each other: which of them, by what motion, and all of them laid together."""

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from .laying import Motion, Piece, motion_of
from .neighbours import arranged
from .normals import plane_normals
from .progress import SILENT, Progress


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
    held = arranged(points)
    normals = plane_normals(held, 24)[0][held.back]
    places = points.copy()
    rows_of = {int(name): np.flatnonzero(view == name) for name in names}
    for turn in range(2 * len(names)):
        progress(turn / (2 * len(names)), "comparing passes")
        worst, motion, most = -1, None, 0.0
        for name, rows in rows_of.items():
            found, off, noise = _off(places, normals, view, name, rows, widest)
            if found is not None and off > max(most * 1.02, _BEARABLE * noise):
                worst, motion, most = name, found, off
        if motion is None:
            break
        rows = rows_of[worst]
        places[rows] += motion.step(places[rows])
        moved[rows] = worst
    return places, moved


_FEWEST = 300  # points of a pass that can be laid
_BEARABLE = 0.33  # of the noise
_LOOKED_AT = 6000


def _off(
    places: NDArray[np.float64],
    normals: NDArray[np.float64],
    view: NDArray[np.integer[Any]],
    name: int,
    rows: NDArray[np.int64],
    widest: float,
) -> tuple[Motion | None, float, float]:
    """The motion that lays a pass onto the others, how far it moves where they meet, and the noise there."""
    rest = np.flatnonzero(view != name)
    some = rows[:: max(1, len(rows) // _LOOKED_AT)]
    apart, near = cKDTree(places[rest], balanced_tree=False).query(places[some], 8, workers=-1)
    way = places[rest[near]] - places[some, None]
    cosine = np.abs(np.einsum("mki,mi->mk", normals[rest[near]], normals[some]))
    height = np.einsum("mki,mi->mk", way, normals[some])
    gap = np.median(height, axis=1)
    spread = np.median(np.abs(height - gap[:, None]), axis=1)
    noise = 1.4826 * float(np.median(spread))
    middle = np.linalg.norm(way.mean(axis=1) - gap[:, None] * normals[some], axis=1)
    met = (np.abs(gap) < widest) & (cosine.min(axis=1) > 0.9) & (middle < apart[:, -1]) & (spread < 2 * noise)
    if met.sum() < _FEWEST // 3:
        return None, 0.0, noise
    piece = Piece(some[met], normals[some[met]], gap[met], np.empty(0, np.int64))
    motion, _ = motion_of(places, piece, noise)
    step = np.einsum("ij,ij->i", motion.step(places[some[met]]), normals[some[met]])
    return motion, float(np.sqrt((step**2).mean())), noise
