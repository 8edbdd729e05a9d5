"""Holes of a mesh: listed, and filled with a skin that runs on smoothly from the rim."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, csr_array, diags_array
from scipy.sparse.linalg import spsolve
from scipy.spatial import Delaunay, cKDTree

from ..curves import inside
from ..mesh import Mesh
from ..progress import SILENT, Progress
from .rims import even_rim


@dataclass(frozen=True, eq=False)
class Hole:
    """One open rim: its vertices in order (the surface to their left), length and middle, width across, millimetres."""

    rim: NDArray[np.int64]
    length: float
    width: float
    middle: NDArray[np.float64]


def holes(mesh: Mesh) -> tuple[list[Hole], int]:
    """The holes of a mesh, longest rim first, and how many rims touch themselves and cannot be listed.

    Parameters
    ----------
    mesh : oriented triangles, welded
    """
    ends = mesh.edges
    size = len(mesh.vertices)
    keys = ends.min(axis=1) * size + ends.max(axis=1)
    ordered = np.sort(keys)
    fresh = np.ones(len(ordered) + 1, bool)
    fresh[1:-1] = ordered[1:] != ordered[:-1]
    once = ordered[fresh[1:] & fresh[:-1]]  # the edges of one triangle
    place = np.searchsorted(once, keys) if len(once) else np.zeros(len(keys), np.int64)
    open_edges = ends[once[np.minimum(place, len(once) - 1)] == keys] if len(once) else ends[:0]
    starts, uses = np.unique(open_edges[:, 0], return_counts=True)
    branching = set(starts[uses > 1].tolist())
    following = dict(open_edges.tolist())
    found, knotted = [], 0
    while following:
        rim = [next(iter(following))]
        while rim[-1] in following:
            rim.append(following.pop(rim[-1]))
        if rim[0] != rim[-1] or len(rim) < 4 or branching.intersection(rim):
            knotted += 1
            continue
        places = mesh.vertices[rim[:-1]]
        length = float(np.linalg.norm(np.diff(mesh.vertices[rim], axis=0), axis=1).sum())
        width = float(np.ptp(places @ np.linalg.svd(places - places.mean(axis=0))[2][0]))
        found.append(Hole(np.array(rim[:-1]), length, width, places.mean(axis=0)))
    return sorted(found, key=lambda hole: -hole.length), knotted


def patched(mesh: Mesh, which: list[Hole], progress: Progress = SILENT) -> Mesh:
    """The mesh with those holes filled, tangent to the skin around.

    Parameters
    ----------
    mesh : the mesh they were listed from
    which : holes to fill
    progress : told how far the work is

    Notes
    -----
    Notches of the rim are filled first, a triangle each. What is left is filled in its own plane, or in a circle where
    its plane will not do, with even triangles of the rim's edge length; the new vertices are then placed where the
    bi-Laplacian vanishes, with the rings of skin outside the rim held (Botsch and Kobbelt 2004,
    doi 10.1145/1015706.1015772): a thin plate, so the patch leaves the rim in the direction the skin arrives.
    Colours and columns of a new vertex are those of the nearest rim vertex.
    """
    for turn, hole in enumerate(which):
        progress(turn / len(which), f"filling hole {turn + 1} of {len(which)}")
        mesh = _filled(mesh, hole)
    return mesh


def _filled(mesh: Mesh, hole: Hole) -> Mesh:
    rim, teeth = even_rim(mesh, hole.rim)
    inner, triangles = _flat_filling(mesh.vertices[rim])
    size = len(mesh.vertices)
    numbers = np.concatenate([rim, size + np.arange(len(inner))])
    beside = rim[cKDTree(mesh.vertices[rim]).query(inner)[1]] if len(inner) else rim[:0]
    filled = mesh.remade(
        np.concatenate([mesh.vertices, inner]),
        np.concatenate([mesh.triangles, teeth, numbers[triangles]]),
        np.concatenate([np.arange(size), beside]),
    )
    if not len(inner):
        return filled
    near = _around(filled, numbers)
    return replace(filled, vertices=_faired(filled, near, size))


def _flat_filling(rim: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """New points within a rim and triangles over rim and new points; by way of a circle where the plane fails."""
    middle = rim.mean(axis=0)
    _, _, axes = np.linalg.svd(rim - middle, full_matrices=False)
    flat = (rim - middle) @ axes[:2].T
    turning = np.sum(flat[:, 0] * np.roll(flat[:, 1], -1) - np.roll(flat[:, 0], -1) * flat[:, 1])
    edge = float(np.median(np.linalg.norm(rim - np.roll(rim, 1, axis=0), axis=1)))
    grid = _honeycomb(flat.min(axis=0), flat.max(axis=0), edge)
    grid = grid[inside(grid, flat)]
    if len(grid):
        middles = (flat + np.roll(flat, -1, axis=0)) / 2
        grid = grid[cKDTree(np.concatenate([flat, middles])).query(grid)[0] > 0.55 * edge]
    triangles = _even_triangles(np.concatenate([flat, grid]), flat)
    if triangles is None:
        return _by_a_circle(rim, edge)
    wound = triangles if turning < 0 else triangles[:, ::-1]
    return middle + grid @ axes[:2], wound


def _by_a_circle(rim: NDArray[np.float64], edge: float) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """New points and triangles as of `_flat_filling`, by way of a circle as long as the rim, which always triangulates.

    The new points come back where the rim, drawn in to its middle like a membrane, has them; fairing does the rest.
    """
    steps = np.linalg.norm(np.roll(rim, -1, axis=0) - rim, axis=1)
    turn = -2 * np.pi * np.concatenate([[0.0], np.cumsum(steps[:-1])]) / steps.sum()  # the hole lies to the right
    radius = float(steps.sum() / (2 * np.pi))
    circle = radius * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    grid = _honeycomb(np.full(2, -radius), np.full(2, radius), edge)
    grid = np.concatenate([[[0.0, 0.0]], grid[np.hypot(*grid.T) < radius - 0.6 * edge]])
    grid = grid[np.concatenate([[True], np.hypot(*grid[1:].T) > 0.6 * edge])]
    triangles: NDArray[np.int64] = Delaunay(np.concatenate([circle, grid])).simplices.astype(np.int64)
    a, b, c = np.concatenate([circle, grid])[triangles].transpose(1, 0, 2)
    left = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0] > 0
    triangles[left] = triangles[left, ::-1]
    share = np.hypot(*grid.T)[:, None] / radius
    toward = rim[cKDTree(circle).query(grid)[1]]
    return rim.mean(axis=0) + share * (toward - rim.mean(axis=0)), triangles[:, ::-1]


def _honeycomb(low: NDArray[np.float64], high: NDArray[np.float64], edge: float) -> NDArray[np.float64]:
    """(n, 2) points of a rectangle in rows, every other row set off by half an edge: six at an edge's distance each."""
    rows = np.arange(low[1], high[1], edge * np.sqrt(3) / 2)
    x, y = np.meshgrid(np.arange(low[0], high[0], edge), rows)
    x = x + np.where(np.arange(len(rows)) % 2, edge / 2, 0.0)[:, None]
    return np.stack([x.ravel(), y.ravel()], axis=1)


def _even_triangles(points: NDArray[np.float64], rim: NDArray[np.float64]) -> NDArray[np.int64] | None:
    """Counter-clockwise triangles within the rim, or None where they do not keep every edge of it just once."""
    triangles: NDArray[np.int64] = Delaunay(points).simplices.astype(np.int64)
    triangles = triangles[inside(points[triangles].mean(axis=1), rim)]
    a, b, c = points[triangles].transpose(1, 0, 2)
    doubled = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
    triangles = triangles[np.abs(doubled) > 1e-12]
    ends = np.sort(triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    edges, uses = np.unique(ends, axis=0, return_counts=True)
    border = {tuple(edge) for edge in edges[uses == 1].tolist()}
    count = len(rim)
    wanted = {tuple(sorted((k, (k + 1) % count))) for k in range(count)}
    if border != wanted or (uses > 2).any() or len(np.unique(triangles)) != len(points):
        return None
    return triangles


def _around(mesh: Mesh, patch: NDArray[np.int64]) -> NDArray[np.int64]:
    """Triangles of the patch and of two rings of skin round it."""
    reached = np.zeros(len(mesh.vertices), bool)
    reached[patch] = True
    for _ in range(2):
        reached = mesh.vertices_of(mesh.triangles_at(reached))
    return np.flatnonzero(reached[mesh.triangles].all(axis=1))


def _faired(mesh: Mesh, near: NDArray[np.int64], first_new: int) -> NDArray[np.float64]:
    """All vertices, the new ones where the thin plate over the near triangles puts them."""
    used, local = np.unique(mesh.triangles[near], return_inverse=True)
    triangles = local.reshape(-1, 3)
    places = mesh.vertices[used].copy()
    free = np.flatnonzero(used >= first_new)
    held = np.flatnonzero(used < first_new)
    for turn in range(4):
        stiffness, mass = _laplacian(places, triangles, even=turn == 0)
        system = (stiffness @ diags_array(1 / mass) @ stiffness).tocsr() if turn else stiffness
        places[free] = spsolve(system[free][:, free].tocsc(), -(system[free][:, held] @ places[held]))
    vertices = mesh.vertices.copy()
    vertices[used[free]] = places[free]
    return vertices


def _laplacian(
    places: NDArray[np.float64], triangles: NDArray[np.int64], even: bool
) -> tuple[csr_array, NDArray[np.float64]]:
    """Stiffness matrix (cotangents, or all ones) and the area that belongs to each vertex."""
    size = len(places)
    corners = places[triangles]
    ahead, back = np.roll(corners, -1, axis=1) - corners, np.roll(corners, 1, axis=1) - corners
    doubled = np.linalg.norm(np.cross(ahead[:, 0], back[:, 0]), axis=1)
    doubled = np.maximum(doubled, 1e-9 * max(float(doubled.max()), 1e-300))
    cotangent = np.einsum("tci,tci->tc", ahead, back) / doubled[:, None]
    weight = np.ones_like(cotangent) if even else np.clip(cotangent, 0.02, 50) / 2
    one, other = np.roll(triangles, -1, axis=1).ravel(), np.roll(triangles, 1, axis=1).ravel()
    links = coo_array((np.tile(weight.ravel(), 2), (np.append(one, other), np.append(other, one))), shape=(size, size))
    links = links.tocsr()
    mass: NDArray[np.float64] = np.bincount(triangles.ravel(), np.repeat(doubled / 6, 3), size).astype(np.float64)
    return (diags_array(np.asarray(links.sum(axis=1)).ravel()) - links).tocsr(), mass
