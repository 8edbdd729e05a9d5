"""A smooth field over a mesh by fewer unknowns: a matrix that spreads values at some vertices over all of them."""

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

_SEED = 5
_ROUNDS = 40
_SPREADS = 4  # means taken so that what one node moves fades into what its neighbours do


def prolongation(mean: csr_array, kept: NDArray[np.int64]) -> tuple[csr_array, NDArray[np.int64]]:
    """A matrix from values at nodes to values at all vertices, and the nodes.

    Parameters
    ----------
    mean : (n, n) sparse matrix with an entry for each two neighbours
    kept : vertices that shall be nodes in any case

    Returns
    -------
    (n, k) matrix whose rows add up to 1, smooth over the mesh, and the (k,) nodes, no two others of which are nearer
    than three edges: about an eighth of the vertices of a mesh of quads.

    Notes
    -----
    Smoothed aggregation (Vanek, Mandel, Brezina 1996, doi 10.1007/BF02238511): nodes by rounds of random numbers, of
    which the greatest around stands (Luby 1986, doi 10.1137/0215074); every other vertex goes with the node it is
    reached from first; then that is averaged.
    """
    count = mean.shape[0]
    of_vertex, nodes = _gathered(mean, _independent(mean, kept))
    spread = csr_array((np.ones(count), (np.arange(count), of_vertex)), shape=(count, len(nodes)))
    for _ in range(_SPREADS):
        spread = 0.5 * spread + 0.5 * (mean @ spread)
    rows = csr_array(spread)
    total = np.maximum(np.asarray(rows.sum(axis=1)).ravel(), 1e-12)  # a vertex without neighbours has lost its own
    rows.data /= np.repeat(total, np.diff(rows.indptr))
    return rows, nodes


def _independent(mean: csr_array, kept: NDArray[np.int64]) -> NDArray[np.bool_]:
    """(n,) mask of vertices no two of which, but for the kept, are within two edges; none more could be added."""
    count = mean.shape[0]
    chance = np.random.default_rng(_SEED).random(count)
    chosen = np.zeros(count, bool)
    chosen[kept] = True
    open_ = ~_reached(mean, chosen, 2)
    for _ in range(_ROUNDS):
        if not open_.any():
            break
        among = np.where(open_, chance, -1.0)
        greatest = among
        for _ in range(2):
            greatest = _greatest_around(mean, greatest)
        new = open_ & (among >= greatest)
        chosen |= new
        open_ &= ~_reached(mean, new, 2)
    return chosen


def _gathered(mean: csr_array, chosen: NDArray[np.bool_]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """(n,) node, by its number, each vertex goes with, and the (k,) nodes; a vertex no node reaches becomes one."""
    number = np.where(chosen, np.cumsum(chosen) - 1, -1).astype(np.float64)
    while (number < 0).any():
        wider = _greatest_around(mean, number)
        if not (wider >= 0)[number < 0].any():
            lone = int(np.argmax(number < 0))
            chosen = chosen.copy()
            chosen[lone] = True
            return _gathered(mean, chosen)
        number = np.where(number < 0, wider, number)
    return number.astype(np.int64), np.flatnonzero(chosen)


def _reached(mean: csr_array, mask: NDArray[np.bool_], edges: int) -> NDArray[np.bool_]:
    found = mask.astype(np.float64)
    for _ in range(edges):
        found = _greatest_around(mean, found)
    reached: NDArray[np.bool_] = found > 0
    return reached


def _greatest_around(mean: csr_array, values: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n,) the greatest value at each vertex and its neighbours."""
    lone = np.diff(mean.indptr) == 0
    starts = np.minimum(mean.indptr[:-1], max(len(mean.indices) - 1, 0))
    around = np.maximum.reduceat(values[mean.indices], starts) if len(mean.indices) else values
    return np.maximum(values, np.where(lone, values, around))
