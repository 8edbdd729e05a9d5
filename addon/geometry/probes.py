"""Points that stand for the triangles of a mesh in a k-d tree, and the bound that makes a search by them exact.

Let q be a point, p its closest place on the mesh at distance d, and R the largest reach of a probe. If p lies inside a
face, the way from q to p is square to the face, so the face's middle c has |qc|² <= d² + R². If p lies on an edge or
a vertex whose faces all turn less than an angle a from their mean normal, the way to p leans against a face by less
than 2a, so |qc|² <= d² + R² + 2 d R sin 2a. Sharper vertices and edges get probes of their own, for which the first
bound holds again. So: once the k-th probe is farther than the bound taken at the best distance found, no triangle
that has not been looked at is closer.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .measures import triangle_normals
from .mesh import Mesh

SHARP = 0.35
"""Sine of twice the angle beyond which a vertex counts as sharp (10 degrees from the mean normal)."""


@dataclass(frozen=True, eq=False)
class Probes:
    """Where the probes are and whom they stand for.

    Parameters
    ----------
    points : (k, 3) float64 array, millimetres
    triangle : (k,) int32 array, the triangle each stands for
    reach : (k,) float64 array: no place it stands for is farther from it
    radius, lean : the R and sin 2a of the bound
    """

    points: NDArray[np.float64]
    triangle: NDArray[np.int32]
    reach: NDArray[np.float64]
    radius: float
    lean: float

    def bound(self, squared: NDArray[np.float64]) -> NDArray[np.float64]:
        """Squared distance within which the probe of a triangle closer than `squared` must lie."""
        return squared + self.radius**2 + 2 * self.radius * self.lean * np.sqrt(squared)


def probes_of(mesh: Mesh) -> Probes:
    """Probes for every triangle, vertex and edge of a mesh."""
    pieces, owners = _even_pieces(mesh.corners)
    middles = pieces.mean(axis=1)
    reach = np.sqrt(((pieces - middles[:, None]) ** 2).sum(axis=2).max(axis=1))
    radius = float(reach.max())
    sines = _twice_leans(mesh)
    sharp = sines > SHARP
    at_vertices, vertex_owner = _vertex_probes(mesh, sharp)
    at_edges, edge_owner, edge_reach = _edge_probes(mesh, sharp, radius)
    return Probes(
        np.concatenate([middles, at_vertices, at_edges]),
        np.concatenate([owners, vertex_owner, edge_owner]),
        np.concatenate([reach, np.zeros(len(at_vertices)), edge_reach]),
        radius,
        float(sines[~sharp].max(initial=0.0)),
    )


def _even_pieces(corners: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.int32]]:
    """Triangles halved across their longest edge until none is much larger than most; each piece's own triangle."""
    owners = np.arange(len(corners), dtype=np.int32)
    longest = _edge_lengths(corners).max(axis=1)
    goal, most = 2 * float(np.median(longest)), 2 * len(corners) + 4096
    while True:
        level = max(goal, longest.max() / 1.5)
        large = np.flatnonzero(longest > level)
        if not len(large) or len(corners) + len(large) > most:
            return corners, owners
        first, second = _halves(corners[large])
        corners = np.concatenate([np.delete(corners, large, axis=0), first, second])
        owners = np.concatenate([np.delete(owners, large), owners[large], owners[large]])
        lengths = _edge_lengths(corners[len(corners) - 2 * len(large) :]).max(axis=1)
        longest = np.concatenate([np.delete(longest, large), lengths])


def _edge_lengths(corners: NDArray[np.float64]) -> NDArray[np.float64]:
    lengths: NDArray[np.float64] = np.sqrt(((np.roll(corners, -1, axis=1) - corners) ** 2).sum(axis=2))
    return lengths


def _halves(corners: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    turn = (_edge_lengths(corners).argmax(axis=1)[:, None] + np.arange(3)) % 3
    a, b, c = np.take_along_axis(corners, turn[:, :, None], axis=1).transpose(1, 0, 2)
    middle = (a + b) / 2
    return np.stack([a, middle, c], axis=1), np.stack([middle, b, c], axis=1)


def _twice_leans(mesh: Mesh) -> NDArray[np.float64]:
    """(n,) sine of twice the largest angle between a vertex's mean normal and its faces; 1 on rims and bad edges."""
    count, flat = len(mesh.vertices), mesh.triangles.ravel()
    normals = triangle_normals(mesh)
    mean: NDArray[np.float64] = np.stack(
        [np.bincount(flat, np.repeat(normals[:, k], 3), count) for k in range(3)], axis=1
    )
    mean /= np.maximum(np.linalg.norm(mean, axis=1, keepdims=True), 1e-300)
    cosines = np.einsum("tci,ti->tc", mean[mesh.triangles], normals)
    least = np.ones(count)
    for k in range(3):
        order = np.argsort(cosines[:, k])[::-1]
        low = np.ones(count)
        low[mesh.triangles[order, k]] = cosines[order, k]  # the last one written is the least
        least = np.minimum(least, low)
    sines = np.where(least > 0.75, 2 * least * np.sqrt(np.maximum(1 - least**2, 0)), 1.0)
    sines[_unpaired_ends(mesh)] = 1.0
    return sines


def _unpaired_ends(mesh: Mesh) -> NDArray[np.int64]:
    """Vertices of edges that are not shared by exactly two triangles running opposite ways."""
    here, there = mesh.triangles.ravel().astype(np.int64), np.roll(mesh.triangles, -1, axis=1).ravel()
    count = len(mesh.vertices)
    keys = np.sort(np.minimum(here, there) * count + np.maximum(here, there))
    ways = np.sort(here * count + there)
    starts = np.flatnonzero(np.diff(keys, prepend=-1))
    odd = keys[starts[np.diff(starts, append=len(keys)) != 2]]
    twice = ways[1:][ways[1:] == ways[:-1]]
    return np.concatenate([odd // count, odd % count, twice // count, twice % count])


def _vertex_probes(mesh: Mesh, sharp: NDArray[np.bool_]) -> tuple[NDArray[np.float64], NDArray[np.int32]]:
    owner = np.full(len(mesh.vertices), -1, np.int32)
    owner[mesh.triangles] = np.arange(len(mesh.triangles), dtype=np.int32)[:, None]
    chosen = np.flatnonzero(sharp & (owner >= 0))
    return mesh.vertices[chosen], owner[chosen]


def _edge_probes(
    mesh: Mesh, sharp: NDArray[np.bool_], radius: float
) -> tuple[NDArray[np.float64], NDArray[np.int32], NDArray[np.float64]]:
    """Probes along edges between sharp vertices, so close that each stands for at most `radius` either way."""
    here, there = mesh.triangles.ravel(), np.roll(mesh.triangles, -1, axis=1).ravel()
    low, high = np.minimum(here, there).astype(np.int64), np.maximum(here, there)
    wanted = np.flatnonzero(sharp[low] & sharp[high])
    _, first = np.unique(low[wanted] * len(mesh.vertices) + high[wanted], return_index=True)
    edges = wanted[first]
    start, way = mesh.vertices[here[edges]], mesh.vertices[there[edges]] - mesh.vertices[here[edges]]
    lengths = np.linalg.norm(way, axis=1)
    parts = np.maximum(1, np.ceil(lengths / (2 * radius))).astype(np.int64)
    row = np.repeat(np.arange(len(edges)), parts)
    step = np.arange(len(row)) - np.repeat(np.cumsum(parts) - parts, parts)
    share = (step + 0.5) / parts[row]
    points = start[row] + share[:, None] * way[row]
    return points, (edges[row] // 3).astype(np.int32), (lengths / parts / 2)[row]
