"""What can be measured of a mesh as it lies: volume, area, faults along its edges, pieces, topology."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .errors import BadMesh
from .mesh import Mesh


@dataclass(frozen=True, eq=False)
class EdgeFaults:
    """Edges that a closed, oriented 2-manifold must not have, each as a row of two vertices, lower first.

    Parameters
    ----------
    open : (a, 2) int32 array, edges of a single triangle
    overused : (b, 2) int32 array, edges of three triangles or more
    flipped : (c, 2) int32 array, edges whose two triangles run the same way along them
    """

    open: NDArray[np.int32]
    overused: NDArray[np.int32]
    flipped: NDArray[np.int32]

    def __bool__(self) -> bool:
        return bool(len(self.open) or len(self.overused) or len(self.flipped))

    def __str__(self) -> str:
        counts = {"open": self.open, "used by over two triangles": self.overused, "between flipped faces": self.flipped}
        return ", ".join(f"{len(edges)} edges {what}" for what, edges in counts.items() if len(edges)) or "no faults"


def volume(mesh: Mesh) -> float:
    """Enclosed volume of a closed mesh, cubic millimetres; negative where it is inside out.

    Notes
    -----
    Sum of signed tetrahedra to the mesh's own middle, so that a head far from the origin keeps its digits.
    """
    if not len(mesh.triangles):
        return 0.0
    a, b, c = (mesh.corners - mesh.vertices.mean(axis=0)).transpose(1, 0, 2)
    return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6.0)


def area(mesh: Mesh) -> float:
    """Surface area, square millimetres."""
    return float(triangle_areas(mesh).sum())


def triangle_areas(mesh: Mesh) -> NDArray[np.float64]:
    """(m,) area of each triangle, square millimetres."""
    areas: NDArray[np.float64] = np.linalg.norm(_doubled_normals(mesh), axis=1) / 2
    return areas


def triangle_normals(mesh: Mesh) -> NDArray[np.float64]:
    """(m, 3) unit normal of each triangle; zero for one without area."""
    doubled = _doubled_normals(mesh)
    lengths = np.linalg.norm(doubled, axis=1, keepdims=True)
    unit: NDArray[np.float64] = np.divide(doubled, lengths, out=np.zeros_like(doubled), where=lengths > 0)
    return unit


def _doubled_normals(mesh: Mesh) -> NDArray[np.float64]:
    a, b, c = mesh.corners.transpose(1, 0, 2)
    doubled: NDArray[np.float64] = np.cross(b - a, c - a)
    return doubled


def edge_faults(mesh: Mesh) -> EdgeFaults:
    """The edges that keep a mesh from being a closed, oriented 2-manifold, by vertex index.

    Notes
    -----
    The rule is that of 3MF Core 4.1: every edge shared with exactly one other triangle, which runs along it the
    opposite way. A triangle that names one vertex twice shows as an over-used or flipped edge.
    """
    edges = mesh.triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2).astype(np.int64)
    low, high = edges.min(axis=1), edges.max(axis=1)
    forward = np.where(edges[:, 0] < edges[:, 1], 1, -1)
    keys, inverse, counts = np.unique(low * len(mesh.vertices) + high, return_inverse=True, return_counts=True)
    balance = np.bincount(inverse.ravel(), weights=forward, minlength=len(keys))
    pairs = np.stack([keys // max(len(mesh.vertices), 1), keys % max(len(mesh.vertices), 1)], axis=1).astype(np.int32)
    twice_named = pairs[:, 0] == pairs[:, 1]
    return EdgeFaults(
        open=pairs[(counts == 1) & ~twice_named],
        overused=pairs[(counts > 2) | twice_named],
        flipped=pairs[(counts == 2) & (balance != 0) & ~twice_named],
    )


def is_watertight(mesh: Mesh) -> bool:
    """Whether the mesh is a closed, oriented 2-manifold with at least one triangle."""
    ends = mesh.triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2).astype(np.int64)
    forth = np.sort(ends[:, 0] * len(mesh.vertices) + ends[:, 1])
    back = np.sort(ends[:, 1] * len(mesh.vertices) + ends[:, 0])
    # every edge runs once each way, which is seen in a fifth of the time that naming the faults takes
    once = (forth == back).all() and (forth[1:] != forth[:-1]).all() and (ends[:, 0] != ends[:, 1]).all()
    return bool(len(forth)) and bool(once)


def needs_closed(mesh: Mesh, what: str) -> None:
    """Raise `BadMesh` naming the faults and the place of the first unless the mesh is closed and oriented."""
    if not len(mesh.triangles):
        raise BadMesh(f"{what} has no triangles")
    faults = edge_faults(mesh)
    if faults:
        edge = next(edges[0] for edges in (faults.open, faults.overused, faults.flipped) if len(edges))
        x, y, z = mesh.vertices[edge].mean(axis=0)
        raise BadMesh(f"{what} is not a closed surface: {faults}, the first near ({x:.2f}, {y:.2f}, {z:.2f}); close it")


def components(mesh: Mesh) -> NDArray[np.int32]:
    """(m,) number of the connected piece each triangle belongs to; 0 is the piece of most triangles."""
    from scipy.sparse import coo_array  # here, for enabling the extension must not wait for it
    from scipy.sparse.csgraph import connected_components

    corners = mesh.triangles
    if not len(corners):
        return np.zeros(0, np.int32)
    rows, columns = corners[:, [0, 1]].ravel(), corners[:, [1, 2]].ravel()
    links = coo_array((np.ones(len(rows), np.int8), (rows, columns)), shape=(len(mesh.vertices),) * 2)
    labels = connected_components(links, directed=False)[1][corners[:, 0]]
    sizes = np.bincount(labels)
    rank = np.empty(len(sizes), np.int32)
    rank[np.argsort(-sizes, kind="stable")] = np.arange(len(sizes), dtype=np.int32)
    numbered: NDArray[np.int32] = rank[labels]
    return numbered


def euler(mesh: Mesh) -> int:
    """Vertices in use minus edges plus triangles: 2 for a sphere, 0 for a torus, summed over pieces."""
    edges = np.sort(mesh.triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2).astype(np.int64), axis=1)
    distinct = np.unique(edges[:, 0] * max(len(mesh.vertices), 1) + edges[:, 1])
    return len(np.unique(mesh.triangles)) - len(distinct) + len(mesh.triangles)


def genus(mesh: Mesh) -> int:
    """Handles of a closed mesh, summed over its pieces: 0 for spheres, 1 for a torus or a bored ball."""
    pieces = int(components(mesh).max(initial=-1)) + 1
    return pieces - euler(mesh) // 2
