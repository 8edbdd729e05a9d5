"""Corners at exactly one place made one vertex."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..mesh import Mesh


def distinct(points: NDArray[np.floating[Any]]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """The distinct places among `points`, in the order they first appear.

    Parameters
    ----------
    points : (n, 3) float32 or float64 array without NaN; 0.0 and -0.0 are one place

    Returns
    -------
    (firsts, which): (k,) rows of `points` where each place appears first, and (n,) the place of each point, so that
    `points[firsts][which]` equals `points`.

    Notes
    -----
    Sorts one 64-bit word a point, a mix of its coordinates above its row, which takes a fraction of the time of
    sorting rows. Places whose mixes collide are then told apart by a plain sort of those few.
    """
    if len(points) == 0:
        return np.zeros(0, np.int64), np.zeros(0, np.int64)
    points = np.ascontiguousarray(points) + 0.0  # turns -0.0 into 0.0
    row_bits = np.uint64(max(1, int(len(points) - 1).bit_length()))
    words = (_mixed(points) >> row_bits) << row_bits
    words |= np.arange(len(points), dtype=np.uint64)
    words.sort()
    rows = (words & ((np.uint64(1) << row_bits) - np.uint64(1))).astype(np.int64)
    words >>= row_bits
    starts = np.concatenate([[True], words[1:] != words[:-1]])
    first_of = np.empty(len(points), np.int64)
    first_of[rows] = rows[starts][np.cumsum(starts) - 1]
    first_of = _told_apart(points, first_of)
    firsts = np.flatnonzero(first_of == np.arange(len(points)))
    number = np.zeros(len(points), np.int64)
    number[firsts] = np.arange(len(firsts))
    return firsts, number[first_of]


def welded(mesh: Mesh) -> Mesh:
    """The mesh with exactly coinciding vertices merged, colours and columns of the first kept.

    Triangles that two merged corners make empty are left out; what was closed stays closed.
    """
    firsts, which = distinct(mesh.vertices)
    triangles = which[mesh.triangles]
    a, b, c = triangles.T
    whole = (a != b) & (b != c) & (c != a)
    return mesh.remade(mesh.vertices[firsts], triangles[whole], firsts)


def _mixed(points: NDArray[np.floating[Any]]) -> NDArray[np.uint64]:
    """A 64-bit mix of each row's bits: odd multipliers, high bits folded down."""
    word = np.uint32 if points.dtype == np.float32 else np.uint64
    bits = points.view(word).astype(np.uint64, copy=False)
    mixed = np.zeros(len(points), np.uint64)
    for axis, factor in enumerate((0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9)):
        mixed ^= bits[:, axis] * np.uint64(factor)
        mixed ^= mixed >> np.uint64(29)
        mixed *= np.uint64(0xBF58476D1CE4E5B9)
    return mixed


def _told_apart(points: NDArray[np.floating[Any]], first_of: NDArray[np.int64]) -> NDArray[np.int64]:
    """`first_of` with the groups split up that hold more than one place."""
    wrong = (points != points[first_of]).any(axis=1)
    if not wrong.any():
        return first_of
    rows = np.flatnonzero(np.isin(first_of, first_of[wrong]))
    order = rows[np.lexsort((rows, *points[rows].T))]
    starts = np.concatenate([[True], (points[order][1:] != points[order][:-1]).any(axis=1)])
    split = first_of.copy()
    split[order] = order[starts][np.cumsum(starts) - 1]
    return split
