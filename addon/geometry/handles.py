"""Tunnels and bridges of a closed surface, found by their shortest loops."""

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import breadth_first_order

from .mesh import Mesh


def short_loops(mesh: Mesh, longest: float) -> list[NDArray[np.int64]]:
    """Loops round the small tunnels and bridges of a closed surface.

    Parameters
    ----------
    mesh : one closed, oriented piece without unused vertices
    longest : loops longer than this are left out, millimetres: a jug's handle is no fault

    Returns
    -------
    For each the vertices along it, in order; none where the piece is a sphere to topology.

    Notes
    -----
    Loops by tree and cotree (Erickson and Whittlesey 2005, "Greedy optimal homotopy and homology generators"): the
    edges in neither span the handles, a loop round and a loop along for each. A loop is as short as its tree lets it
    be, so long ones are looked for again from their own vertices; one handle may therefore come up more than once.
    """
    if len(mesh.vertices) - len(mesh.triangles) // 2 >= 2:  # Euler's number of a closed piece: 2 on a sphere
        return []
    graph = _edges(mesh)
    found = _loops(mesh, *graph, int(mesh.triangles[0, 0]))
    short = [loop for loop in found if _length(mesh, loop) <= longest]
    roots: list[int] = []
    for share in (0.0, 0.5, 0.25, 0.75):  # a loop begins where it closed, beyond its handle
        for loop in found:
            root = int(loop[int(share * len(loop))])
            apart = np.linalg.norm(mesh.vertices[roots] - mesh.vertices[root], axis=1).min(initial=np.inf)
            if len(roots) < _ROOTS and apart > longest / 10 and _length(mesh, loop) > longest:
                roots.append(root)
    for root in roots:
        if len(short) >= len(found):
            break
        short += [loop for loop in _loops(mesh, *graph, root) if _length(mesh, loop) <= longest]
    return sorted(short, key=lambda loop: _length(mesh, loop))


_ROOTS = 8  # trees grown from the far sides of long loops, in search of short ones


def _length(mesh: Mesh, loop: NDArray[np.int64]) -> float:
    return float(np.linalg.norm(mesh.vertices[loop] - mesh.vertices[np.roll(loop, 1)], axis=1).sum())


def _edges(mesh: Mesh) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """(e, 2) vertices and (e, 2) triangles of each edge of a closed mesh, by vertices; (m, 3) a triangle's edges."""
    ends = mesh.triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2).astype(np.int64)
    order = np.argsort(ends.min(axis=1) * len(mesh.vertices) + ends.max(axis=1))
    belonging = np.empty(len(ends), np.int64)
    belonging[order] = np.arange(len(ends)) // 2
    return np.sort(ends[order[::2]], axis=1), np.sort((order // 3).reshape(-1, 2), axis=1), belonging.reshape(-1, 3)


def _loops(
    mesh: Mesh, edges: NDArray[np.int64], sides: NDArray[np.int64], belonging: NDArray[np.int64], root: int
) -> list[NDArray[np.int64]]:
    """Twice as many loops as there are handles, through trees grown from `root`."""
    size = len(mesh.vertices)
    parent = _grown(edges, size, root)
    child = np.flatnonzero(parent >= 0)
    branch = np.sort(np.stack([child, parent[child]], axis=1), axis=1)
    spare = np.ones(len(edges), bool)
    spare[np.searchsorted(edges @ np.array([size, 1]), branch @ np.array([size, 1]))] = False
    over = _grown(sides[spare], len(mesh.triangles), 0)
    crossed = np.flatnonzero(over >= 0)
    own, other = belonging[crossed], belonging[over[crossed]]
    shared = (own[:, :, None] == other[:, None, :]).any(axis=2) & spare[own]  # the edge a triangle was reached over
    spare[own[np.arange(len(own)), shared.argmax(axis=1)]] = False
    return [_through(parent, *edges[row].tolist()) for row in np.flatnonzero(spare)]


def _grown(links: NDArray[np.int64], size: int, root: int) -> NDArray[np.int64]:
    """(size,) parent of each node in a tree grown ring by ring, -9999 for the root and what is not reached."""
    graph = csr_array((np.ones(len(links), np.int8), (links[:, 0], links[:, 1])), shape=(size, size))
    parent: NDArray[np.int64] = breadth_first_order(graph, root, directed=False)[1].astype(np.int64)
    return parent


def _through(parent: NDArray[np.int64], one: int, other: int) -> NDArray[np.int64]:
    """The loop down the tree from one end of an edge to the other."""
    up = [one]
    while parent[up[-1]] >= 0:
        up.append(int(parent[up[-1]]))
    place = {vertex: step for step, vertex in enumerate(up)}
    down = [other]
    while down[-1] not in place:
        down.append(int(parent[down[-1]]))
    return np.array(up[: place[down[-1]] + 1] + down[-2::-1])
