"""Faces of a mesh that cut through one another."""

import numpy as np
from numpy.typing import NDArray

from .cells import cells_of
from .mesh import Mesh


def self_intersections(mesh: Mesh) -> NDArray[np.int32]:
    """Pairs of triangles that pass through each other.

    Returns
    -------
    (k, 2) int32 array of triangle rows, the lower first. Triangles that share an edge are never a pair; those that
    share one vertex are where they meet elsewhere too.

    Notes
    -----
    Candidates from the cells of a grid; a pair cuts where an edge of one passes through the inside of the other.
    Two faces that lie in one plane do not count: `edge_faults` sees doubled ones.
    """
    if not len(mesh.triangles):
        return np.zeros((0, 2), np.int32)
    pairs = _apart_by_planes(mesh, _candidates(mesh))
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
    """Pairs of triangles whose boxes overlap, listed once, without those that share an edge."""
    cells = cells_of(mesh, per_edge=1.5)
    counts = np.diff(cells.first)
    low, high = mesh.corners.min(axis=1), mesh.corners.max(axis=1)
    owner = np.repeat(np.arange(len(counts)), counts)
    place = np.arange(len(owner)) - cells.first[owner]
    found = []
    for step in range(1, int(counts.max(initial=0))):
        row = np.flatnonzero(place + step < counts[owner])
        a, b = cells.triangles[row], cells.triangles[row + step]
        meet = (low[a] <= high[b]).all(axis=1) & (low[b] <= high[a]).all(axis=1)
        a, b = a[meet], b[meet]
        shared = (mesh.triangles[a][:, :, None] == mesh.triangles[b][:, None, :]).sum(axis=(1, 2))
        a, b = a[shared < 2], b[shared < 2]
        found.append(np.minimum(a, b).astype(np.int64) * len(low) + np.maximum(a, b))
    keys = np.unique(np.concatenate([*found, np.zeros(0, np.int64)]))
    pairs: NDArray[np.int32] = np.stack([keys // len(low), keys % len(low)], axis=1).astype(np.int32)
    return pairs


def _apart_by_planes(mesh: Mesh, pairs: NDArray[np.int32]) -> NDArray[np.int32]:
    """The pairs of which neither lies wholly on one side of the other's plane."""
    for one, other in ((0, 1), (1, 0)):
        corners, points = mesh.corners[pairs[:, one]], mesh.corners[pairs[:, other]]
        normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        heights = np.einsum("nki,ni->nk", points - corners[:, :1], normals)
        pairs = pairs[(heights.max(axis=1) > 0) & (heights.min(axis=1) < 0)]
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
