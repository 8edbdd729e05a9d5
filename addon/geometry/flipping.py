"""Diagonals turned until triangles are as even as their vertices allow; no vertex moves."""

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
    faces = np.array(triangles, dtype=np.int64)
    away = vertices - centre
    for _ in range(_MOST_ROUNDS):
        turned = _turnable(vertices, away, faces)
        if turned is None:
            break
        (one, other), (a, b, c, d) = turned
        # The edge from a to b, seen from c on one side and d on the other, becomes the one from c to d.
        faces[one] = np.column_stack([a, d, c])
        faces[other] = np.column_stack([d, b, c])
    return faces.astype(np.int32)


def _turnable(
    vertices: NDArray[np.float64], away: NDArray[np.float64], faces: NDArray[np.int64]
) -> tuple[tuple[NDArray[np.int64], ...], tuple[NDArray[np.int64], ...]] | None:
    """Pairs of triangles whose shared edge is to be turned, no triangle twice, with their four corners; or None."""
    corner = np.arange(3 * len(faces))
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    facing = np.roll(faces, -2, axis=1).ravel()
    size = int(faces.max()) + 1
    low, high = np.minimum(start, end), np.maximum(start, end)
    order = np.lexsort((start > end, low * size + high))
    keys = (low * size + high)[order]
    first = np.flatnonzero(keys[1:] == keys[:-1])
    one, other = corner[order[first]], corner[order[first + 1]]
    a, b, c, d = start[one], end[one], facing[one], facing[other]
    excess = _angle(vertices, c, a, b) + _angle(vertices, d, a, b) - np.pi
    # A triangle that faces the centre is turned over first of all, if its neighbour allows it.
    excess[(_volume(away, a, b, c) <= 0) | (_volume(away, b, a, d) <= 0)] += 2 * np.pi
    wanted = (excess > 1e-9) & (_volume(away, a, d, c) > 0) & (_volume(away, d, b, c) > 0)
    wanted &= ~np.isin(np.minimum(c, d) * size + np.maximum(c, d), keys)
    rows = np.flatnonzero(wanted)
    if not len(rows):
        return None
    rows = rows[np.argsort(-excess[rows], kind="stable")]
    rank = np.full(len(faces), len(rows))
    pairs = np.stack([one[rows] // 3, other[rows] // 3])
    for side in pairs:
        np.minimum.at(rank, side, np.arange(len(rows)))
    chosen = (rank[pairs] == np.arange(len(rows))).all(axis=0)
    # Two of them could make the same new edge: only the first does.
    across = np.minimum(c, d)[rows] * size + np.maximum(c, d)[rows]
    kept = np.flatnonzero(chosen)
    kept = kept[np.unique(across[kept], return_index=True)[1]]
    rows = rows[kept]
    return (pairs[0][kept], pairs[1][kept]), (a[rows], b[rows], c[rows], d[rows])


def _angle(
    vertices: NDArray[np.float64], at: NDArray[np.int64], one: NDArray[np.int64], other: NDArray[np.int64]
) -> NDArray[np.float64]:
    """(n,) radians between the ways from one vertex to two others."""
    p, q = vertices[one] - vertices[at], vertices[other] - vertices[at]
    lengths = np.sqrt(np.einsum("ij,ij->i", p, p) * np.einsum("ij,ij->i", q, q))
    return np.asarray(np.arccos(np.clip(np.einsum("ij,ij->i", p, q) / np.maximum(lengths, 1e-300), -1.0, 1.0)))


def _volume(
    away: NDArray[np.float64], a: NDArray[np.int64], b: NDArray[np.int64], c: NDArray[np.int64]
) -> NDArray[np.float64]:
    """(n,) six times the volume between each triangle and the centre: above 0 where it faces away."""
    return np.asarray(np.einsum("ij,ij->i", away[a], np.cross(away[b], away[c])))
