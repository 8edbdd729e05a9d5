"""Tunnels and bridges of a closed surface, found by their shortest loops."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import breadth_first_order, dijkstra

from ..groups import counted_out
from ..mesh import Mesh
from ..neighbours import stable_order


def short_loops(mesh: Mesh, longest: float, apart: float = np.inf) -> list[NDArray[np.int64]]:
    """Loops round the small tunnels and bridges of a closed surface, the shortest first.

    Parameters
    ----------
    mesh : one closed, oriented piece without unused vertices
    longest : loops longer than this are left out, millimetres: a jug's handle is no fault
    apart : loops are looked for from places at most so far apart, millimetres; a quarter of the longest suffices

    Returns
    -------
    For each the vertices along it, in order; none where the piece is a sphere to topology. A handle has two at most,
    that round it and that along it. A shorter loop through the same places hides a longer one until it is mended.

    Notes
    -----
    The edges in neither a tree of the vertices nor one of the triangles span the handles (Erickson and Whittlesey 2005,
    "Greedy optimal homotopy and homology generators"). Each closes a ring of triangles, and a loop that crosses such a
    ring an odd number of times goes round a handle. So every short loop passes a place on a ring; there they are looked
    for, no farther off than half their length. Of the loops found those stay that no shorter ones add up to.
    """
    number = len(mesh.vertices) - len(mesh.triangles) // 2  # Euler's, of a closed piece: 2 on a sphere
    if number >= 2 or longest <= 0:
        return []
    surface = _Surface.of(mesh)
    apart = min(apart, longest / 4, float(np.ptp(mesh.vertices, axis=0).max()) / 4)
    crossed = surface.edges[surface.marks != 0, 0]
    cells = np.floor(mesh.vertices[crossed] / apart).astype(np.int64)
    roots = crossed[np.sort(np.unique(cells, axis=0, return_index=True)[1])]
    reach, columns = longest / 2 + apart, np.ascontiguousarray(mesh.vertices.T)

    def loops(places: NDArray[np.int64]) -> list[NDArray[np.int64]]:
        found = []
        neighbourhoods = np.floor(mesh.vertices[places] / (2 * reach)).astype(np.int64)
        for which in np.unique(neighbourhoods, axis=0):
            some = places[(neighbourhoods == which).all(axis=1)]
            low, high = mesh.vertices[some].min(axis=0) - reach, mesh.vertices[some].max(axis=0) + reach
            rows = np.arange(len(mesh.vertices))
            for axis, along in enumerate(columns):
                rows = rows[(along[rows] >= low[axis]) & (along[rows] <= high[axis])]
            local = surface.among(rows)  # a search costs as much as the graph is large, not as it reaches
            through = [local.loop_through(int(place), reach) for place in np.searchsorted(rows, some)]
            found += [rows[loop] for loop in through if loop is not None]
        return surface.independent(found)

    tightened = loops(np.array([loop[len(loop) // 2] for loop in loops(roots)], np.int64))
    return [loop for loop in tightened if surface.length(loop) <= longest]


@dataclass(frozen=True, eq=False)
class _Surface:
    """A closed mesh as a graph: its edges (e, 2), ordered, their lengths, and which rings cross them (`_rings`)."""

    vertices: NDArray[np.float64]
    edges: NDArray[np.int64]
    lengths: NDArray[np.float64]
    marks: NDArray[np.int64]
    rings: dict[int, int]

    @classmethod
    def of(cls, mesh: Mesh) -> "_Surface":
        edges, sides, belonging = _edges(mesh)
        lengths = np.linalg.norm(mesh.vertices[edges[:, 0]] - mesh.vertices[edges[:, 1]], axis=1)
        return cls(mesh.vertices, edges, lengths, *_rings(mesh, edges, sides, belonging))

    def among(self, rows: NDArray[np.int64]) -> "_Surface":
        """The part of it over some vertices, by their own numbers; the rings are told by their marks alone."""
        number = np.full(len(self.vertices), -1, np.int32)
        number[rows] = np.arange(len(rows))
        lower, upper = (number.take(self.edges[:, end]) for end in (0, 1))
        kept = np.flatnonzero((lower >= 0) & (upper >= 0))
        edges = np.stack([lower[kept], upper[kept]], axis=1).astype(np.int64)
        return _Surface(self.vertices[rows], edges, self.lengths[kept], self.marks[kept], {})

    @cached_property
    def graph(self) -> csr_array:
        """(n, n) lengths between neighbours."""
        both = np.concatenate([self.edges, self.edges[:, ::-1]]).T
        return csr_array((np.tile(self.lengths, 2), (both[0], both[1])), shape=(len(self.vertices),) * 2)

    @cached_property
    def firsts(self) -> NDArray[np.int64]:
        """(n + 1,) at which row the edges of each vertex begin, those in which it is the lower one."""
        return np.searchsorted(self.edges[:, 0], np.arange(len(self.vertices) + 1))

    def length(self, loop: NDArray[np.int64]) -> float:
        """Of a loop of vertices, millimetres."""
        return float(np.linalg.norm(self.vertices[loop] - self.vertices[np.roll(loop, 1)], axis=1).sum())

    def independent(self, loops: list[NDArray[np.int64]]) -> list[NDArray[np.int64]]:
        """The loops, the shortest first, without those that cross the rings as shorter ones do together."""
        keys, kept, known = self.edges @ np.array([len(self.vertices), 1]), [], list[int]()
        for loop in sorted(loops, key=self.length):
            ends = np.sort(np.stack([loop, np.roll(loop, 1)], axis=1), axis=1)
            rows = np.searchsorted(keys, ends @ np.array([len(self.vertices), 1]))
            crossed = 0
            for row in rows.tolist():
                crossed ^= self.rings.get(row, 0)
            for other in known:
                crossed = min(crossed, crossed ^ other)
            if crossed:
                known = sorted([*known, crossed], reverse=True)
                kept.append(loop)
        return kept

    def loop_through(self, root: int, reach: float) -> NDArray[np.int64] | None:
        """The shortest loop from a vertex round a handle, no farther off than `reach`; None where none is."""
        away, parent = dijkstra(self.graph, indices=root, limit=reach, return_predecessors=True)
        inside = np.isfinite(away)
        near = np.flatnonzero(inside)
        which, number = counted_out(self.firsts[near + 1] - self.firsts[near])
        rows = self.firsts[near[which]] + number
        rows = rows[inside[self.edges[rows, 1]]]
        local = np.cumsum(inside) - 1
        up = local[np.where(parent[near] >= 0, parent[near], near)]
        crossings = np.zeros(len(near), np.int64)
        one, other = self.edges[rows].T
        for lower, upper in ((one, other), (other, one)):
            branch = parent[lower] == upper
            crossings[local[lower[branch]]] = self.marks[rows[branch]]
        while (up != up[up]).any():  # rings crossed on the way from the root: doubling the way each time
            crossings, up = crossings ^ crossings[up], up[up]
        round_one = np.flatnonzero(crossings[local[one]] ^ crossings[local[other]] ^ self.marks[rows])
        if not len(round_one):
            return None
        total = away[one[round_one]] + away[other[round_one]] + self.lengths[rows[round_one]]
        best = round_one[total.argmin()]
        return _through(parent, int(one[best]), int(other[best]))


def _edges(mesh: Mesh) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """(e, 2) vertices and (e, 2) triangles of each edge of a closed mesh, by vertices; (m, 3) a triangle's edges."""
    one, other = mesh.triangles.ravel(), np.roll(mesh.triangles, -1, axis=1).ravel()
    lower, upper = np.minimum(one, other).astype(np.int64), np.maximum(one, other).astype(np.int64)
    order = stable_order((lower * len(mesh.vertices) + upper).astype(np.uint64))
    belonging = np.empty(len(order), np.int64)
    belonging[order] = np.arange(len(order)) // 2
    this, that = order[::2] // 3, order[1::2] // 3
    edges = np.stack([lower[order[::2]], upper[order[::2]]], axis=1)
    sides = np.stack([np.minimum(this, that), np.maximum(this, that)], axis=1)
    return edges, sides, belonging.reshape(-1, 3)


def _rings(
    mesh: Mesh, edges: NDArray[np.int64], sides: NDArray[np.int64], belonging: NDArray[np.int64]
) -> tuple[NDArray[np.int64], dict[int, int]]:
    """Which rings of triangles, two a handle, cross each edge an odd number of times.

    As a mark (e,), each ring a word drawn at random, to be added bit by bit: that of a loop is 0 only if it crosses
    none (or once in 2**62); and for the rows of crossed edges a bit for each ring.
    """
    size = len(mesh.vertices)
    parent = _grown(edges, size, int(mesh.triangles[0, 0]))
    child = np.flatnonzero(parent >= 0)
    branch = np.minimum(child, parent[child]) * size + np.maximum(child, parent[child])
    spare = np.ones(len(edges), bool)
    spare[np.searchsorted(edges[:, 0] * size + edges[:, 1], branch)] = False
    over = _grown(sides[spare], len(mesh.triangles), 0)
    reached = np.flatnonzero(over >= 0)
    own, other = belonging[reached], belonging[over[reached]]
    shared = (own[:, :, None] == other[:, None, :]).any(axis=2) & spare[own]
    door = np.full(len(mesh.triangles), -1)  # the edge a triangle was reached over
    door[reached] = own[np.arange(len(own)), shared.argmax(axis=1)]
    spare[door[reached]] = False
    rows = np.flatnonzero(spare)
    words = np.random.default_rng(0).integers(1, 2**62, len(rows)).tolist()
    marks, rings = np.zeros(len(edges), np.int64), dict[int, int]()
    for number, (row, word) in enumerate(zip(rows.tolist(), words, strict=True)):
        along = [row]
        for side in sides[row].tolist():
            while door[side] >= 0:
                along.append(int(door[side]))
                side = int(over[side])
        for crossed in along:
            rings[crossed] = rings.get(crossed, 0) ^ 1 << number
            marks[crossed] ^= word
    return marks, rings


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
