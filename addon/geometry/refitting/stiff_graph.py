"""Shapes carried by a map of space that gives way where they would be stretched: turned rather than drawn out."""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, csc_array, diags_array
from scipy.sparse.linalg import splu
from scipy.spatial import cKDTree

from ..clouds.thinning import thinned
from ..groups import summed
from ..progress import SILENT, Progress

Vectors = NDArray[np.float64]

NEIGHBOURS = 12
_BLENDED = 8  # nodes that carry a point
_ROUNDS = 20
_HELD = 30.0  # weight of a node that lies wholly on what is held, beside an edge's 1
_FREE = 1e-4  # weight of staying where the map put it, for nodes nothing else holds


def stiffly_carried(
    points: Vectors,
    held: NDArray[np.float64],
    carry: Callable[[Vectors], Vectors],
    spacing: float,
    hold: float,
    progress: Progress = SILENT,
) -> Vectors:
    """Points carried by a smooth map where they are held, and elsewhere with their shapes kept.

    Parameters
    ----------
    points : (n, 3) points of the shapes, millimetres
    held : (n,) from 0 to 1: how far a point goes where the map puts it
    carry : the map, (m, 3) points to (m, 3) points
    spacing : of the nodes that carry the points, millimetres
    hold : 0 follows the map everywhere; 1 keeps every neighbourhood rigid as far as what is held lets it
    progress : told how far the work is

    Notes
    -----
    An embedded deformation graph (Sumner, Schmid, Pauly 2007, doi 10.1145/1275808.1276478) on nodes spread through the
    points, its edges kept as rigid as possible (Sorkine, Alexa 2007, doi 10.2312/SGP/SGP07/109-116). Neighbours are
    taken through space, not along the surface: strands that lie on each other go together and do not cross. Between
    0 and 1 each neighbourhood keeps that share of its own size and shape, the rest is the map's.
    """
    if hold == 0.0:
        return carry(points)
    cells = thinned(points, spacing)
    nodes = cells.points
    weight = _HELD * cells.sums(held) / cells.counts + _FREE
    if len(nodes) <= _BLENDED:
        return carry(points)
    start, end, stiff = _edges(nodes)
    aim = carry(nodes)
    places = aim.copy()
    links = coo_array((stiff, (start, end)), shape=(len(nodes),) * 2).tocsr()
    system = csc_array(diags_array(np.asarray(links.sum(axis=1)) + weight) - links)
    factor = splu(system, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})
    own = nodes[end] - nodes[start]
    turns = np.tile(np.eye(3), (len(nodes), 1, 1))
    for number in range(_ROUNDS):
        progress(number / _ROUNDS, "keeping the strands' shapes")
        turns = _local(start, stiff, own, places[end] - places[start], hold, len(nodes))
        pull = 0.5 * stiff[:, None] * np.einsum("eij,ej->ei", turns[start] + turns[end], own)
        right = weight[:, None] * aim - summed(start, pull, len(nodes))
        before, places = places, factor.solve(np.ascontiguousarray(right))
        if np.abs(places - before).max() < 1e-4 * spacing:
            break
    return _blended(points, nodes, places, turns)


def _edges(nodes: Vectors) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]]:
    """Each edge both ways, and its stiffness."""
    count = min(NEIGHBOURS + 1, len(nodes))
    near = cKDTree(nodes).query(nodes, count, workers=-1)[1][:, 1:]
    one, other = np.repeat(np.arange(len(nodes)), count - 1), near.ravel().astype(np.int64)
    keys = np.unique(np.minimum(one, other) * len(nodes) + np.maximum(one, other))
    low, high = keys // len(nodes), keys % len(nodes)
    start, end = np.concatenate([low, high]), np.concatenate([high, low])
    squared = ((nodes[end] - nodes[start]) ** 2).sum(axis=1)
    return start, end, np.median(squared) / squared


def _local(
    start: NDArray[np.int64], stiff: NDArray[np.float64], own: Vectors, now: Vectors, hold: float, count: int
) -> NDArray[np.float64]:
    """(count, 3, 3) what each node's neighbourhood shall undergo: its turn, and what the hold leaves of its stretch."""
    moved = summed(start, stiff[:, None] * np.einsum("ei,ej->eij", now, own).reshape(-1, 9), count).reshape(-1, 3, 3)
    left, _, right = np.linalg.svd(moved)
    left[:, :, 2] *= np.sign(np.linalg.det(left) * np.linalg.det(right))[:, None]
    turn: NDArray[np.float64] = left @ right
    if hold == 1.0:
        return turn
    spread = summed(start, stiff[:, None] * np.einsum("ei,ej->eij", own, own).reshape(-1, 9), count).reshape(-1, 3, 3)
    little = 0.02 * np.trace(spread, axis1=1, axis2=2)[:, None, None] * np.eye(3)  # sheets have no third direction
    map_there = np.linalg.solve(spread + little, (moved + turn @ little).transpose(0, 2, 1)).transpose(0, 2, 1)
    return hold * turn + (1.0 - hold) * map_there


def _blended(points: Vectors, nodes: Vectors, places: Vectors, turns: NDArray[np.float64]) -> Vectors:
    """Each point carried by the nodes about it, the nearer the more."""
    away, rows = cKDTree(nodes).query(points, _BLENDED + 1, workers=-1)
    share = (1.0 - (away[:, :-1] / np.maximum(away[:, -1:], 1e-12)) ** 2) ** 2 + 1e-12
    share /= share.sum(axis=1, keepdims=True)
    carried = np.zeros_like(points)
    for k in range(_BLENDED):
        row = rows[:, k]
        carried += share[:, k, None] * (places[row] + np.einsum("nij,nj->ni", turns[row], points - nodes[row]))
    return carried
