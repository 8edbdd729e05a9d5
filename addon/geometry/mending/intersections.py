"""Faces of a mesh that cut through one another."""

import numpy as np
from numpy.typing import NDArray

from ..measures import doubled_normals
from ..mesh import Mesh
from .boxes import overlapping

_ROUNDED = 8 * float(np.finfo(np.float64).eps)
"""Share of the largest coordinate by which a place that was reckoned may be off, such as the middle of an edge."""


def self_intersections(mesh: Mesh, deeper_than: float = 0.0) -> NDArray[np.int32]:
    """Pairs of triangles that pass through each other.

    Parameters
    ----------
    mesh : any mesh
    deeper_than : millimetres by which a triangle must reach beyond the other's plane on both sides of it; what cuts
        leave as slivers, rounded for a file, crosses its neighbours by some millionths

    Returns
    -------
    (k, 2) int32 array of triangle rows, the lower first. Triangles that share an edge are never a pair; those that
    share one vertex are where they meet elsewhere too.

    Notes
    -----
    Candidates are those whose boxes overlap; a pair cuts where an edge of one passes through the inside of the other.
    What lies beyond a plane by no more than coordinates are rounded does not: halves of one flat face lie in one plane.
    Two faces that lie in one plane do not count: `edge_faults` sees doubled ones.
    """
    if not len(mesh.triangles):
        return np.zeros((0, 2), np.int32)
    pairs = _apart_by_planes(mesh, _candidates(mesh), deeper_than)
    first, second = mesh.triangles[pairs[:, 0]], mesh.triangles[pairs[:, 1]]
    cut = np.zeros(len(pairs), bool)
    for one, other in ((first, second), (second, first)):
        for k in range(3):
            start, end = one[:, k], one[:, (k + 1) % 3]
            # an edge that hangs on the other triangle meets it there, which is no cut
            free = ~(other == start[:, None]).any(axis=1) & ~(other == end[:, None]).any(axis=1)
            row = np.flatnonzero(free & ~cut)
            through = _edge_through(mesh.vertices, start[row], end[row], other[row])
            cut[row[through]] = True
    found: NDArray[np.int32] = pairs[cut]
    return found


def _candidates(mesh: Mesh) -> NDArray[np.int32]:
    """Pairs of triangles whose boxes overlap, without those that share an edge."""
    a, b, c = (mesh.vertices.take(mesh.triangles[:, k], axis=0) for k in range(3))
    pairs = overlapping(np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c))
    first, second = (np.ascontiguousarray(mesh.triangles.take(pairs[:, k], axis=0).T) for k in (0, 1))
    shared = np.zeros(len(pairs), np.int8)
    for one in first:
        for other in second:
            shared += one == other
    apart: NDArray[np.int32] = pairs[shared < 2]
    return apart


def _apart_by_planes(mesh: Mesh, pairs: NDArray[np.int32], depth: float) -> NDArray[np.int32]:
    """The pairs of which neither lies wholly on one side of the other's plane, but for `depth`."""
    a, b, c = (mesh.vertices.take(mesh.triangles[:, k], axis=0) for k in range(3))
    normals = doubled_normals(mesh)
    off = _ROUNDED * float(np.abs(mesh.vertices).max())
    least = max(depth, off) * np.sqrt(np.einsum("ij,ij->i", normals, normals))
    size = np.max([np.abs(a - b).max(axis=1), np.abs(b - c).max(axis=1), np.abs(c - a).max(axis=1)], axis=0)
    for one, other in ((0, 1), (1, 0)):
        plane, triangle = pairs[:, one], pairs[:, other]
        foot, normal = a.take(plane, axis=0), normals.take(plane, axis=0)
        # a sliver's normal is as little known as its corners are, against its length
        slack = least.take(plane) + off * size.take(plane) * (size.take(plane) + size.take(triangle))
        heights = [np.einsum("ij,ij->i", corner.take(triangle, axis=0) - foot, normal) for corner in (a, b, c)]
        pairs = pairs[(np.max(heights, axis=0) > slack) & (np.min(heights, axis=0) < -slack)]
    return pairs


def _edge_through(
    vertices: NDArray[np.float64], start: NDArray[np.int32], end: NDArray[np.int32], triangle: NDArray[np.int32]
) -> NDArray[np.bool_]:
    """Whether each edge passes through the inside of the triangle paired with it, by signs of volumes."""
    p, q = vertices[start], vertices[end]
    a, b, c = vertices[triangle].transpose(1, 0, 2)
    across = _volumes(a, b, c, p) * _volumes(a, b, c, q) < 0
    sides = np.stack([_volumes(p, q, a, b), _volumes(p, q, b, c), _volumes(p, q, c, a)])
    through: NDArray[np.bool_] = across & ((sides > 0).all(axis=0) | (sides < 0).all(axis=0))
    return through


def _volumes(
    a: NDArray[np.float64], b: NDArray[np.float64], c: NDArray[np.float64], d: NDArray[np.float64]
) -> NDArray[np.float64]:
    volumes: NDArray[np.float64] = np.einsum("ij,ij->i", np.cross(b - a, c - a), d - a)
    return volumes
