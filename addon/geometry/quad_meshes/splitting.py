"""Triangles split until no edge is longer than wanted, without opening a gap."""

import numpy as np
from numpy.typing import NDArray

from ..mesh import Mesh

_MOST_ROUNDS = 8
MOST = 4_000_000
"""Triangles beyond which no more is split, unless another number is given."""


def split(mesh: Mesh, longest: NDArray[np.float64] | float, most: int = MOST) -> tuple[Mesh, bool]:
    """The mesh with every edge halved that is longer than wanted, again and again.

    Parameters
    ----------
    mesh : any triangles; colours and columns follow, a new vertex taking the colour of the middle, the column of one
        end, and a mark (a column of truth values) where both ends have it
    longest : millimetres, one length or one for each vertex; an edge goes by the shorter of its ends', a new vertex by
        the longer, so that what is fine grades off within a few faces
    most : triangles beyond which no more is split

    Returns
    -------
    The mesh, and whether all edges are as short as wanted.
    """
    wanted = np.broadcast_to(np.asarray(longest, np.float64), len(mesh.vertices))
    for _ in range(_MOST_ROUNDS):
        edges, of_side = _edges(mesh)
        length = np.linalg.norm(mesh.vertices[edges[:, 0]] - mesh.vertices[edges[:, 1]], axis=1)
        cut = length > np.minimum(wanted[edges[:, 0]], wanted[edges[:, 1]])
        if not cut.any():
            return mesh, True
        if len(mesh.triangles) + 2 * int(cut.sum()) > most:
            return mesh, False
        one, other = edges[cut].T
        wanted = np.concatenate([wanted, np.maximum(wanted[one], wanted[other])])
        mesh = _cut(mesh, edges, of_side, cut)
    return mesh, False


def halved(mesh: Mesh, faces: NDArray[np.int64]) -> Mesh:
    """The mesh with every edge of some of its faces halved once, new vertices after the old ones.

    Parameters
    ----------
    mesh : any triangles; colours and columns follow as in `split`
    faces : rows of its triangles
    """
    edges, of_side = _edges(mesh)
    cut = np.zeros(len(edges), bool)
    cut[of_side.reshape(-1, 3)[faces]] = True
    return _cut(mesh, edges, of_side, cut)


def _edges(mesh: Mesh) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """(e, 2) every edge once, and (3m,) the edge of each side of each triangle."""
    ends = np.sort(mesh.edges, axis=1)
    keys, of_side = np.unique(ends[:, 0] * len(mesh.vertices) + ends[:, 1], return_inverse=True)
    return np.stack([keys // len(mesh.vertices), keys % len(mesh.vertices)], axis=1), of_side.ravel()


def _cut(mesh: Mesh, edges: NDArray[np.int64], of_side: NDArray[np.int64], cut: NDArray[np.bool_]) -> Mesh:
    """The mesh with these edges halved."""
    middle = np.where(cut, np.cumsum(cut) - 1 + len(mesh.vertices), -1)[of_side].reshape(-1, 3)
    one, other = edges[cut].T
    colours = None
    if mesh.colours is not None:
        mixed = (mesh.colours[one].astype(np.uint16) + mesh.colours[other]) // 2
        colours = np.vstack([mesh.colours, mixed.astype(np.uint8)])
    columns = {
        name: np.concatenate([values, values[one] & values[other] if values.dtype == bool else values[one]])
        for name, values in mesh.columns.items()
    }
    vertices = np.vstack([mesh.vertices, (mesh.vertices[one] + mesh.vertices[other]) / 2])
    return Mesh(vertices, _pieces(mesh.triangles.astype(np.int64), middle), colours, columns)


def _pieces(triangles: NDArray[np.int64], middle: NDArray[np.int64]) -> NDArray[np.int32]:
    """The triangles cut where a side (corner k to k + 1) has a middle vertex, -1 where it has none."""
    count = (middle >= 0).sum(axis=1)
    # turned so that a single cut is on the first side, and of two the uncut one is the last
    turn = np.where(count == 1, (middle >= 0).argmax(axis=1), np.where(count == 2, (middle < 0).argmax(axis=1) + 1, 0))
    order = (np.arange(3) + turn[:, None]) % 3
    corner, half = np.take_along_axis(triangles, order, axis=1), np.take_along_axis(middle, order, axis=1)
    (a, b, c), (ab, bc, ca) = corner.T, half.T
    patterns = {
        0: [(a, b, c)],
        1: [(a, ab, c), (ab, b, c)],
        2: [(a, ab, c), (ab, bc, c), (ab, b, bc)],
        3: [(a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca)],
    }
    found = [np.stack(piece, axis=1)[count == number] for number, pieces in patterns.items() for piece in pieces]
    pieces_found: NDArray[np.int32] = np.concatenate(found).astype(np.int32)
    return pieces_found
