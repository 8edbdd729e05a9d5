"""Tunnels and bridges of a closed surface: found by their shortest loops, cut and capped."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import breadth_first_order

from .mesh import Mesh


def without_handles(mesh: Mesh, longest: float) -> tuple[Mesh, int]:
    """The closed mesh with its short tunnels and bridges taken out, one cut for each.

    Parameters
    ----------
    mesh : one closed, oriented piece without unused vertices
    longest : loops longer than this are left, millimetres: a jug's handle is no fault

    Returns
    -------
    The mesh, and how many cuts were made. Each cut lowers the genus by one: two caps close it, and both draw back
    to their own side, so a tunnel is filled and a bridge is parted.

    Notes
    -----
    Loops by tree and cotree (Erickson and Whittlesey 2005, "Greedy optimal homotopy and homology generators"): the
    edges in neither span the handles. Loops that touch nowhere are cut together.
    """
    cuts = 0
    while len(mesh.vertices) - len(mesh.triangles) // 2 < 2:  # Euler's number of a closed piece: 2 on a sphere
        short = _short_loops(mesh, longest)
        if not short:
            break
        for loop in short:
            mesh = _cut(mesh, loop)
        cuts += len(short)
    return mesh, cuts


def _short_loops(mesh: Mesh, longest: float) -> list[NDArray[np.int64]]:
    """Loops no longer than that which part no surface and touch nowhere: all can be cut at once.

    Those of one tree are independent, so together they part nothing either. Where a tree from anywhere gives none, the
    shortest loop is looked for from its own vertices.
    """
    edges, sides = _edges(mesh)
    found = _loops(mesh, edges, sides, int(mesh.triangles[0, 0]))
    for _ in range(3):
        found = sorted(found, key=lambda loop: _length(mesh, loop))
        if not found or _length(mesh, found[0]) <= longest:
            break
        found = _loops(mesh, edges, sides, int(found[0][0]))
    taken = np.zeros(len(mesh.vertices), bool)
    apart = []
    for loop in found:
        if _length(mesh, loop) <= longest and not taken[loop].any():
            apart.append(loop)
            ring = np.isin(mesh.triangles, loop).any(axis=1)
            ring = np.isin(mesh.triangles, mesh.triangles[ring]).any(axis=1)
            taken[mesh.triangles[ring]] = True
    return apart


def _length(mesh: Mesh, loop: NDArray[np.int64]) -> float:
    return float(np.linalg.norm(mesh.vertices[loop] - mesh.vertices[np.roll(loop, 1)], axis=1).sum())


def _edges(mesh: Mesh) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """(e, 2) vertices and (e, 2) triangles of each edge of a closed mesh, in the order of the vertices."""
    ends = mesh.triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2).astype(np.int64)
    order = np.argsort(ends.min(axis=1) * len(mesh.vertices) + ends.max(axis=1), kind="stable")
    return np.sort(ends[order[::2]], axis=1), (order // 3).reshape(-1, 2)


def _loops(mesh: Mesh, edges: NDArray[np.int64], sides: NDArray[np.int64], root: int) -> list[NDArray[np.int64]]:
    """Twice as many loops as there are handles, through trees grown from `root`."""
    size = len(mesh.vertices)
    parent = _grown(edges, size, root)
    child = np.flatnonzero(parent >= 0)
    branch = np.sort(np.stack([child, parent[child]], axis=1), axis=1)
    numbers = edges @ np.array([size, 1])
    spare = np.ones(len(edges), bool)
    spare[np.searchsorted(numbers, branch @ np.array([size, 1]))] = False
    between = np.sort(sides, axis=1)
    over = _grown(between[spare], len(mesh.triangles), 0)
    crossed = np.flatnonzero(over >= 0)
    cotree = np.sort(np.stack([crossed, over[crossed]], axis=1), axis=1) @ np.array([len(mesh.triangles), 1])
    spare &= ~np.isin(between @ np.array([len(mesh.triangles), 1]), cotree)
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


def _cut(mesh: Mesh, loop: NDArray[np.int64]) -> Mesh:
    """The mesh cut open along a loop, both rims capped and drawn apart."""
    near = np.flatnonzero(np.isin(mesh.triangles, loop).any(axis=1))
    following = {}
    for row, (a, b, c) in zip(near.tolist(), mesh.triangles[near].tolist(), strict=True):
        following.update({(a, b): (row, 0, c), (b, c): (row, 1, a), (c, a): (row, 2, b)})
    triangles = mesh.triangles.copy()
    size, count = len(mesh.vertices), len(loop)
    for step, vertex in enumerate(loop.tolist()):
        before, after = int(loop[step - 1]), int(loop[(step + 1) % count])
        while after != before:  # the corners to the left of the loop go over to its copy
            row, corner, after = following[vertex, after]
            triangles[row, corner] = size + step
    here, ahead = np.arange(count), np.roll(np.arange(count), -1)
    middle = size + count
    caps = [
        np.stack([size + ahead, size + here, np.full(count, middle)], axis=1),
        np.stack([loop[here], loop[ahead], np.full(count, middle + 1)], axis=1),
    ]
    source = np.concatenate([np.arange(size), loop, loop[:1], loop[:1]])
    vertices = mesh.vertices[source]
    rims = np.concatenate([size + here, loop])
    vertices[rims] += _drawn_back(vertices, triangles[near], rims)
    vertices[middle], vertices[middle + 1] = vertices[size + here].mean(axis=0), vertices[loop].mean(axis=0)
    return replace(
        mesh,
        vertices=vertices,
        triangles=np.concatenate([triangles, *caps]).astype(np.int32),
        colours=None if mesh.colours is None else mesh.colours[source],
        columns={name: values[source] for name, values in mesh.columns.items()},
    )


def _drawn_back(
    vertices: NDArray[np.float64], triangles: NDArray[np.int32], rims: NDArray[np.int64]
) -> NDArray[np.float64]:
    """(r, 3) half the way from each rim vertex to the middle of its neighbours off the rims."""
    shifts = np.zeros((len(rims), 3))
    on_rim = np.isin(triangles, rims)
    for place, vertex in enumerate(rims.tolist()):
        mine = (triangles == vertex).any(axis=1)
        others = np.unique(triangles[mine][~on_rim[mine]])
        if len(others):
            shifts[place] = 0.5 * (vertices[others].mean(axis=0) - vertices[vertex])
    return shifts
