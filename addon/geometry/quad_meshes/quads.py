"""Meshes of four-cornered faces: their edges, rims and angles, and how they become triangles."""

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from ..directions import unit
from ..errors import BadMesh
from ..groups import summed

Quads = NDArray[np.integer[Any]]


def needed_quads(quads: Quads, count: int) -> NDArray[np.int64]:
    """The faces as (m, 4) int64, once they can be worked with.

    Parameters
    ----------
    quads : (m, 4) rows of the vertices
    count : how many vertices there are

    Raises
    ------
    BadMesh
        Another shape, an index out of range, a face that names a vertex twice, or an edge that two faces run along
        in the same direction (three faces at an edge, or neighbours that face opposite ways).
    """
    faces = np.asarray(quads, dtype=np.int64)
    if faces.ndim != 2 or faces.shape[1] != 4 or not len(faces):
        raise BadMesh(f"faces of shape {faces.shape}: a base needs faces of four corners each")
    if faces.min() < 0 or faces.max() >= count:
        raise BadMesh(f"a face names vertex {faces.max()}, but vertices run from 0 to {count - 1}")
    sorted_corners = np.sort(faces, axis=1)
    twice = (sorted_corners[:, 1:] == sorted_corners[:, :-1]).any(axis=1)
    if twice.any():
        raise BadMesh(f"face {int(np.argmax(twice))} names one vertex twice: it is no face of four corners")
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    keys, counts = np.unique(start * count + end, return_counts=True)
    if counts.max() > 1:
        first = int(keys[np.argmax(counts > 1)])
        raise BadMesh(f"two faces run the same way along the edge {first // count} to {first % count}: mend it first")
    return faces


def edges_of(quads: Quads) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """The edges of a quad mesh.

    Parameters
    ----------
    quads : (m, 4) int array

    Returns
    -------
    edges : (e, 2) pairs of vertices, the lower first, in rising order
    of_face : (m, 4) the edge from corner k to corner k + 1 of each face
    faces : (e,) how many faces each edge has: 1 on a rim
    """
    faces = np.asarray(quads, dtype=np.int64)
    ends = np.sort(np.stack([faces, np.roll(faces, -1, axis=1)], axis=2).reshape(-1, 2), axis=1)
    size = int(faces.max()) + 1
    keys, of_face, counts = np.unique(ends[:, 0] * size + ends[:, 1], return_inverse=True, return_counts=True)
    edges = np.stack([keys // size, keys % size], axis=1)
    return edges, of_face.reshape(-1, 4).astype(np.int64), counts.astype(np.int64)


def rims_of(quads: Quads) -> list[NDArray[np.int64]]:
    """The closed lines of vertices along which a quad mesh ends, the surface to their left."""
    faces = np.asarray(quads, dtype=np.int64)
    _, of_face, counts = edges_of(faces)
    alone = counts[of_face] == 1
    following = dict(zip(faces[alone].tolist(), np.roll(faces, -1, axis=1)[alone].tolist(), strict=True))
    rims = []
    while following:
        start = min(following)
        rim = [start]
        here = following.pop(start)
        while here != start:
            rim.append(here)
            here = following.pop(here)
        rims.append(np.array(rim, dtype=np.int64))
    return rims


def corner_angles(vertices: NDArray[np.float64], quads: Quads) -> NDArray[np.float64]:
    """(m, 4) the angle at each corner of each face, radians, 0 to pi."""
    corners = vertices[np.asarray(quads)]
    ahead, behind = np.roll(corners, -1, axis=1) - corners, np.roll(corners, 1, axis=1) - corners
    lengths = np.linalg.norm(ahead, axis=2) * np.linalg.norm(behind, axis=2)
    cosines = np.einsum("mki,mki->mk", ahead, behind) / np.maximum(lengths, 1e-300)
    angles: NDArray[np.float64] = np.arccos(np.clip(cosines, -1.0, 1.0))
    return angles


def facing_of(vertices: NDArray[np.float64], quads: Quads) -> NDArray[np.float64]:
    """(m, 3) vectors across each face, as long as twice its area: the cross product of its diagonals."""
    a, b, c, d = vertices[np.asarray(quads)].transpose(1, 0, 2)
    across: NDArray[np.float64] = np.cross(c - a, d - b)
    return across


def quad_normals(vertices: NDArray[np.float64], quads: Quads) -> NDArray[np.float64]:
    """(n, 3) unit normals at the vertices: the mean of the faces around, by area; 0 at an unused vertex."""
    across = np.repeat(facing_of(vertices, quads), 4, axis=0)
    return unit(summed(np.asarray(quads).ravel(), across, len(vertices)))


def as_triangles(vertices: NDArray[np.float64], quads: Quads) -> NDArray[np.int32]:
    """(2 m, 3) triangles, two after one another for each face, cut along the diagonal that folds less.

    Parameters
    ----------
    vertices : (n, 3) array
    quads : (m, 4) rows of them
    """
    faces = np.asarray(quads)
    a, b, c, d = vertices[faces].transpose(1, 0, 2)

    def fold(one: NDArray[np.float64], other: NDArray[np.float64]) -> NDArray[np.float64]:
        lengths = np.linalg.norm(one, axis=1) * np.linalg.norm(other, axis=1)
        cosines: NDArray[np.float64] = np.einsum("mi,mi->m", one, other) / np.maximum(lengths, 1e-300)
        return cosines

    along_ac = fold(np.cross(b - a, c - a), np.cross(c - a, d - a))
    along_bd = fold(np.cross(b - a, d - a), np.cross(c - b, d - b))
    first = along_ac >= along_bd
    ac = faces[:, [[0, 1, 2], [0, 2, 3]]]
    bd = faces[:, [[0, 1, 3], [1, 2, 3]]]
    return np.where(first[:, None, None], ac, bd).reshape(-1, 3).astype(np.int32)


def averaging(quads: Quads, count: int) -> csr_array:
    """(n, n) sparse matrix that takes values at the vertices to the mean over each one's neighbours along edges.

    Parameters
    ----------
    quads : (m, 4) rows of the vertices
    count : how many vertices there are; one without neighbours gets 0
    """
    edges, _, _ = edges_of(quads)
    both = np.concatenate([edges, edges[:, ::-1]])
    links = csr_array((np.ones(len(both)), (both[:, 0], both[:, 1])), shape=(count, count))
    share = 1.0 / np.maximum(np.diff(links.indptr), 1)
    return csr_array((np.repeat(share, np.diff(links.indptr)), links.indices, links.indptr), shape=links.shape)
