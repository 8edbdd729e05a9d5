"""Sheets of a mesh that meet along an edge or in a vertex, given vertices of their own."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ..angles import arc_tangent
from ..linked import linked_pieces
from ..mesh import Mesh
from .edge_groups import edge_groups

_APART = 0.01  # of the way to its neighbours' mean that a new vertex is drawn, so that no file welds it back


def parted(mesh: Mesh) -> tuple[Mesh, NDArray[np.int64]]:
    """The mesh with every edge in two triangles at most and one fan of triangles round every vertex.

    Parameters
    ----------
    mesh : triangles that run alike across the edges two of them share, none naming a vertex twice

    Returns
    -------
    The mesh, and (k,) the vertices that were given a double, one entry a double.

    Notes
    -----
    Of the triangles round an edge those are joined that enclose a wedge of the body between them; one left over ends
    in an open rim. Doubles are drawn a hundredth of the way to their own neighbours.
    """
    one, other = _joined(mesh)
    size = len(mesh.triangles)
    corners = mesh.triangles.ravel()
    # an edge is numbered by the corner it starts from; its end is the next corner of its triangle
    following = np.arange(3 * size).reshape(-1, 3)[:, [1, 2, 0]].ravel()
    start = np.concatenate([one, following[one]])
    end = np.concatenate([following[other], other])
    fan = linked_pieces(start, end, 3 * size)
    count = int(fan.max(initial=-1)) + 1
    vertex = np.empty(count, np.int64)
    vertex[fan] = corners
    order = np.lexsort((np.arange(count), vertex))
    first = np.concatenate([[True], vertex[order][1:] != vertex[order][:-1]]) if count else np.empty(0, bool)
    doubles = order[~first]
    if not len(doubles):
        return mesh, np.empty(0, np.int64)
    number = vertex.copy()
    number[doubles] = len(mesh.vertices) + np.arange(len(doubles))
    source = np.concatenate([np.arange(len(mesh.vertices)), vertex[doubles]])
    after = mesh.remade(mesh.vertices[source], number[fan].reshape(-1, 3), source)
    return replace(after, vertices=_drawn_apart(after, len(mesh.vertices))), vertex[doubles]


def _drawn_apart(mesh: Mesh, first_double: int) -> NDArray[np.float64]:
    """(n, 3) the vertices, doubles moved a little to the mean of the corners of their triangles."""
    vertices = mesh.vertices.copy()
    own = np.flatnonzero((mesh.triangles >= first_double).any(axis=1))
    middles = mesh.corners[own].mean(axis=1)
    sums, counts = np.zeros_like(vertices), np.zeros(len(vertices))
    for corner in range(3):
        np.add.at(sums, mesh.triangles[own, corner], middles)
        np.add.at(counts, mesh.triangles[own, corner], 1)
    doubles = np.arange(first_double, len(vertices))
    vertices[doubles] += _APART * (sums[doubles] / counts[doubles, None] - vertices[doubles])
    return vertices


def _joined(mesh: Mesh) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Edges, by the corner they start from, that are one: (p,) of one triangle and (p,) of the other."""
    edges = edge_groups(mesh)
    one, other = edges.pairs.T
    against = edges.ends[one, 0] != edges.ends[other, 0]
    pairs = [np.stack([one[against], other[against]])]
    crowded = edges.uses > 2
    for begin, count in zip(edges.starts[crowded].tolist(), edges.uses[crowded].tolist(), strict=True):
        pairs.append(_round_an_edge(mesh, edges.ends, edges.order[begin : begin + count]))
    joined = np.concatenate(pairs, axis=1)
    return joined[0], joined[1]


def _round_an_edge(mesh: Mesh, ends: NDArray[np.int64], rows: NDArray[np.int64]) -> NDArray[np.int64]:
    """(2, p) pairs of the edges in `rows`, all over the same two vertices, that close a wedge of the body.

    Seen along the edge, a triangle that runs it forth has the body on the side of falling angles: it is joined to the
    next one that way if that runs the edge back.
    """
    low, high = ends[rows[0]].min(), ends[rows[0]].max()
    along = mesh.vertices[high] - mesh.vertices[low]
    tips = mesh.vertices[mesh.triangles[rows // 3, (rows % 3 + 2) % 3]] - mesh.vertices[low]
    across = np.cross(along, tips[0])
    upright = np.cross(across, along)
    angle = arc_tangent(tips @ across * np.linalg.norm(upright), tips @ upright * np.linalg.norm(across))
    turn = np.argsort(angle, kind="stable")
    forth = (ends[rows, 0] == low)[turn]
    ring = rows[turn]
    found = [(int(ring[step]), int(ring[step - 1])) for step in range(len(ring)) if forth[step] and not forth[step - 1]]
    return np.array(found, dtype=np.int64).reshape(-1, 2).T
