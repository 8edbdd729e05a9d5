"""Diagonals turned until triangles are as even as their vertices allow; no vertex moves."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

_MOST_ROUNDS = 200


def with_even_triangles(
    vertices: NDArray[np.float64], triangles: NDArray[np.int32], centre: NDArray[np.float64]
) -> NDArray[np.int32]:
    """The triangles of a piece of surface with the diagonals that make them evenest.

    Parameters
    ----------
    vertices : (n, 3)
    triangles : (t, 3) of the piece; edges at its rim stay, and so does every vertex
    centre : (3,) from where the piece is seen whole; triangles that face away from it still do so afterwards, and
        those that do not are turned over where their neighbours allow it

    Returns
    -------
    (t, 3) array

    Notes
    -----
    An edge is turned where the two angles facing it come to more than 180 degrees: Delaunay's condition on a surface
    (Bobenko and Springborn 2007, doi 10.1007/s00454-007-9006-1). Each round turns all edges that do not meet in a
    triangle, the worst first.
    """
    used, numbered = np.unique(triangles, return_inverse=True)
    away, faces = vertices[used] - centre, numbered.reshape(-1, 3).astype(np.int64)
    open_yet = np.ones(len(faces), dtype=bool)
    for _ in range(_MOST_ROUNDS):
        # Only edges of triangles that the last round changed or put off can ask to be turned: the rest is settled.
        looked_at = _sharing_edges(faces, len(used), open_yet)
        edges = _inner_edges(faces, np.flatnonzero(looked_at))
        excess = _excess(away, edges)
        wanted = np.flatnonzero(excess > 1e-9)
        open_yet = np.zeros(len(faces), dtype=bool)
        open_yet[edges.one[wanted]] = open_yet[edges.other[wanted]] = True
        known = _edge_keys(faces[_sharing_edges(faces, len(used), looked_at)], len(used))
        across = np.minimum(edges.c, edges.d) * len(used) + np.maximum(edges.c, edges.d)
        wanted = wanted[~_among(known, across[wanted])]
        if not len(wanted):
            break
        rows = _apart(edges, wanted[np.argsort(-excess[wanted], kind="stable")], len(faces))
        rows = rows[np.unique(across[rows], return_index=True)[1]]  # two could make one new edge: only the first does
        # The edge from a to b, seen from c on one side and d on the other, becomes the one from c to d.
        a, b, c, d = (each[rows] for each in (edges.a, edges.b, edges.c, edges.d))
        faces[edges.one[rows]] = np.column_stack([a, d, c])
        faces[edges.other[rows]] = np.column_stack([d, b, c])
    return np.asarray(used[faces], dtype=np.int32)


@dataclass(frozen=True, eq=False)
class _Edges:
    """Edges from `a` to `b` between the triangles `one` and `other`, whose third corners are `c` and `d`; (n,) each."""

    one: NDArray[np.int64]
    other: NDArray[np.int64]
    a: NDArray[np.int64]
    b: NDArray[np.int64]
    c: NDArray[np.int64]
    d: NDArray[np.int64]


def _sharing_edges(faces: NDArray[np.int64], count: int, chosen: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """(t,) the chosen triangles and all that have two corners in common with them."""
    marked = np.zeros(count, dtype=np.int8)
    marked[faces[chosen]] = 1
    a, b, c = (marked.take(faces[:, corner]) for corner in range(3))
    return np.asarray(a + b + c >= 2)


def _inner_edges(faces: NDArray[np.int64], rows: NDArray[np.int64]) -> _Edges:
    """The edges between two of the triangles named, by their ends."""
    corners = faces[rows]
    start, end, facing = corners.ravel(), np.roll(corners, -1, axis=1).ravel(), np.roll(corners, -2, axis=1).ravel()
    keys = np.minimum(start, end) * (int(faces.max()) + 1) + np.maximum(start, end)
    order = np.argsort(2 * keys + (start > end), kind="stable")
    first = np.flatnonzero(keys[order[1:]] == keys[order[:-1]])
    one, other = order[first], order[first + 1]
    return _Edges(rows[one // 3], rows[other // 3], start[one], end[one], facing[one], facing[other])


def _edge_keys(faces: NDArray[np.int64], count: int) -> NDArray[np.int64]:
    """(e,) one number for each edge there is, sorted."""
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    return np.sort(np.minimum(start, end) * count + np.maximum(start, end))


def _among(known: NDArray[np.int64], keys: NDArray[np.int64]) -> NDArray[np.bool_]:
    """(n,) which keys are found in a sorted list."""
    return np.asarray(known[np.minimum(np.searchsorted(known, keys), len(known) - 1)] == keys)


def _excess(away: NDArray[np.float64], edges: _Edges) -> NDArray[np.float64]:
    """(n,) by how much the angles facing each edge pass 180 degrees, radians; 0 where it may not be turned."""
    a, b, c, d = (away[each] for each in (edges.a, edges.b, edges.c, edges.d))
    excess = _angle(a - c, b - c) + _angle(a - d, b - d) - np.pi
    # A triangle that faces the centre is turned over first of all, if its neighbour allows it.
    excess[(_volume(a, b, c) <= 0) | (_volume(b, a, d) <= 0)] += 2 * np.pi
    asking = np.flatnonzero(excess > 0)
    a, b, c, d = (each[asking] for each in (a, b, c, d))
    excess[asking[(_volume(a, d, c) <= 0) | (_volume(d, b, c) <= 0)]] = 0.0
    return excess


def _apart(edges: _Edges, rows: NDArray[np.int64], count: int) -> NDArray[np.int64]:
    """Of the edges, the most urgent first, those before which none asks for either of their triangles."""
    rank = np.full(count, len(rows))
    pairs = np.stack([edges.one[rows], edges.other[rows]])
    for side in pairs:
        np.minimum.at(rank, side, np.arange(len(rows)))
    return np.asarray(rows[(rank[pairs] == np.arange(len(rows))).all(axis=0)])


def _angle(one: NDArray[np.float64], other: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n,) radians between (n, 3) ways."""
    lengths = np.sqrt(np.einsum("ij,ij->i", one, one) * np.einsum("ij,ij->i", other, other))
    return np.asarray(np.arccos(np.clip(np.einsum("ij,ij->i", one, other) / np.maximum(lengths, 1e-300), -1.0, 1.0)))


def _volume(a: NDArray[np.float64], b: NDArray[np.float64], c: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n,) six times the volume between each triangle and the origin: above 0 where it faces away."""
    return np.asarray(np.einsum("ij,ij->i", a, np.cross(b, c)))
