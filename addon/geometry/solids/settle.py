"""A closed mesh made fit for files: it stays closed when its coordinates are written as 32-bit floats.

STL stores positions only, as 32-bit floats, and its readers weld by position. Two vertices that round to one place
would then pinch the surface or open it. Here short edges are collapsed and what still coincides is drawn apart.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ..directions import unit
from ..errors import BadMesh
from ..groups import summed
from ..mesh import Mesh

FINEST = 2e-6
"""Shortest edge kept, as a share of the largest coordinate: 16 steps of a 32-bit float, 0.1 micrometre at 40 mm."""


def settled(mesh: Mesh) -> Mesh:
    """The closed mesh on coordinates that 32-bit floats hold exactly, no two vertices at one place.

    Raises
    ------
    BadMesh
        Vertices that cannot be told apart (many sheets on one place).
    """
    if not len(mesh.triangles):
        return mesh
    step = float(np.abs(mesh.vertices).max()) * FINEST
    return _apart(without_short_edges(mesh, step), step)


def without_short_edges(mesh: Mesh, shortest: float) -> Mesh:
    """The mesh with edges under `shortest` mm collapsed where that neither pinches nor folds the surface."""
    for _ in range(10):
        edges = _short_edges(mesh, shortest)
        if not len(edges):
            return mesh
        near = _surroundings(mesh, edges)
        patch, rest = mesh.triangles[near], mesh.triangles[~near]
        smaller = _thinned_out(Mesh(mesh.vertices, patch), rest, shortest)
        if len(smaller) == len(patch):
            return mesh
        mesh = replace(mesh, triangles=np.concatenate([rest, smaller]))
        mesh = mesh.kept(np.arange(len(mesh.triangles)))
    return mesh


def _surroundings(mesh: Mesh, edges: NDArray[np.int32]) -> NDArray[np.bool_]:
    """(m,) the triangles within three rings of the edges: short edges are few, and the rest need not be looked at."""
    reached = np.zeros(len(mesh.vertices), bool)
    reached[edges] = True
    for _ in range(3):
        near = mesh.triangles_at(reached)
        reached = mesh.vertices_of(near)
    return near


def _thinned_out(patch: Mesh, rest: NDArray[np.int32], shortest: float) -> NDArray[np.int32]:
    """The patch's triangles, its short edges collapsed; vertices it shares with the rest stay as they are."""
    used, rows = np.unique(patch.triangles, return_inverse=True)
    local = Mesh(patch.vertices[used], rows.reshape(-1, 3))
    shared = np.zeros(len(patch.vertices), bool)
    shared[rest] = True
    for _ in range(50):
        edges = _short_edges(local, shortest)
        target = _collapses(local, edges[~shared[used[edges]].any(axis=1)])
        if target is None:
            break
        moved = target[local.triangles].astype(np.int32)
        distinct = (moved != np.roll(moved, 1, axis=1)).all(axis=1)
        local = Mesh(local.vertices, moved[distinct])
    triangles: NDArray[np.int32] = used[local.triangles].astype(np.int32)
    return triangles


def _short_edges(mesh: Mesh, shortest: float) -> NDArray[np.int32]:
    """(k, 2) the edges under `shortest`, the shortest first."""
    columns = np.ascontiguousarray(mesh.vertices.T)
    found = []
    for first, second in ((0, 1), (1, 2), (2, 0)):
        here, there = mesh.triangles[:, first], mesh.triangles[:, second]
        # Across one axis alone most edges are too long already: the others are not asked.
        short = np.flatnonzero(np.abs(columns[0].take(here) - columns[0].take(there)) < shortest)
        found.append(np.stack([here[short], there[short]], axis=1))
    edges = np.concatenate(found)
    edges = edges[edges[:, 0] < edges[:, 1]]
    lengths = np.linalg.norm(mesh.vertices[edges[:, 0]] - mesh.vertices[edges[:, 1]], axis=1)
    short = np.flatnonzero(lengths < shortest)
    ordered: NDArray[np.int32] = edges[short[np.argsort(lengths[short], kind="stable")]]
    return ordered


def _collapses(mesh: Mesh, edges: NDArray[np.int32]) -> NDArray[np.int64] | None:
    """The vertex each vertex becomes when as many of the edges as can be at once are collapsed; None for none."""
    target = np.arange(len(mesh.vertices))
    if not len(edges):
        return None
    owners = np.argsort(mesh.triangles.ravel(), kind="stable") // 3
    starts = np.searchsorted(np.sort(mesh.triangles.ravel()), np.arange(len(mesh.vertices) + 1))
    busy: set[int] = set()
    for keep, drop in edges.tolist():
        fans = [mesh.triangles[owners[starts[vertex] : starts[vertex + 1]]] for vertex in (keep, drop)]
        ring = {int(vertex) for fan in fans for vertex in fan.ravel()}
        if ring & busy:
            continue
        shared = set(fans[0].ravel().tolist()) & set(fans[1].ravel().tolist()) - {keep, drop}
        if len(shared) == 2 and len(ring) > 4 and not _folds(mesh.vertices, fans[1], keep, drop):
            target[drop] = keep
            busy |= ring
    return target if busy else None


def _folds(vertices: NDArray[np.float64], fan: NDArray[np.int32], keep: int, drop: int) -> bool:
    """Whether a face of the fan about `drop` turns over when `drop` goes to `keep`."""
    staying = fan[~(fan == keep).any(axis=1)]
    before, after = (_facing(vertices[each]) for each in (staying, np.where(staying == drop, keep, staying)))
    return bool((np.einsum("ij,ij->i", before, after) < 0).any())


def _facing(corners: NDArray[np.float64]) -> NDArray[np.float64]:
    facing: NDArray[np.float64] = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    return facing


def _apart(mesh: Mesh, step: float) -> Mesh:
    """The mesh with vertices that would share a place drawn a few steps apart, each towards its own neighbours."""
    vertices = mesh.vertices.astype(np.float32)
    for distance in (step, 4 * step, 16 * step, 64 * step):
        shared = _sharing_a_place(vertices)
        if not shared.any():
            return Mesh(vertices.astype(np.float64), mesh.triangles, mesh.colours, mesh.columns)
        vertices = vertices.copy()
        vertices[shared] += (distance * _towards_neighbours(mesh)[shared]).astype(np.float32)
    raise BadMesh(f"{int(shared.sum())} vertices of a cut fall on one place: move it by a hundredth of a mm")


def _sharing_a_place(vertices: NDArray[np.float32]) -> NDArray[np.bool_]:
    """(n,) whether another vertex has the very same coordinates. Zeros count as equal whatever their sign."""
    bits = (vertices + np.float32(0)).view(np.uint32).astype(np.uint64)
    keys = (bits * np.array([0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9], np.uint64)).sum(axis=1)
    order = np.argsort(keys, kind="stable")
    # Equal keys lie side by side; two places with one key are so rare that taking them for one does no harm.
    equal = keys[order][1:] == keys[order][:-1]
    shared = np.zeros(len(vertices), bool)
    shared[order[1:][equal]] = True
    shared[order[:-1][equal]] = True
    return shared


def _towards_neighbours(mesh: Mesh) -> NDArray[np.float64]:
    """(n, 3) unit vector from each vertex to the middle of the vertices it shares an edge with."""
    here, there = mesh.triangles.ravel(), np.roll(mesh.triangles, -1, axis=1).ravel()
    ahead = mesh.vertices[there] - mesh.vertices[here]
    return unit(summed(here, ahead, len(mesh.vertices)))
