"""What can be measured of a mesh as it lies: volume, area, faults along its edges, pieces, topology."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from .errors import BadMesh
from .linked import linked_pieces
from .mesh import Mesh

if TYPE_CHECKING:
    from scipy.sparse import csr_array


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
    total = 0.0
    for ax, ay, az, bx, by, bz, cx, cy, cz in _portions(mesh, mesh.vertices.mean(axis=0)):
        total += (ax * (by * cz - bz * cy) + ay * (bz * cx - bx * cz) + az * (bx * cy - by * cx)).sum()
    return float(total / 6.0)


def area(mesh: Mesh) -> float:
    """Surface area, square millimetres."""
    return float(triangle_areas(mesh).sum())


def triangle_areas(mesh: Mesh) -> NDArray[np.float64]:
    """(m,) area of each triangle, square millimetres."""
    areas: NDArray[np.float64] = np.linalg.norm(doubled_normals(mesh), axis=1) / 2
    return areas


def triangle_normals(mesh: Mesh) -> NDArray[np.float64]:
    """(m, 3) unit normal of each triangle; zero for one without area."""
    doubled = doubled_normals(mesh)
    lengths = np.linalg.norm(doubled, axis=1, keepdims=True)
    unit: NDArray[np.float64] = np.divide(doubled, lengths, out=np.zeros_like(doubled), where=lengths > 0)
    return unit


def doubled_normals(mesh: Mesh) -> NDArray[np.float64]:
    """(m, 3) normal of each triangle, twice its area long."""
    doubled, done = np.empty((len(mesh.triangles), 3)), 0
    for ax, ay, az, bx, by, bz, cx, cy, cz in _portions(mesh):
        part = slice(done, done := done + len(ax))
        ux, uy, uz, vx, vy, vz = bx - ax, by - ay, bz - az, cx - ax, cy - ay, cz - az
        doubled[part, 0] = uy * vz - uz * vy
        doubled[part, 1] = uz * vx - ux * vz
        doubled[part, 2] = ux * vy - uy * vx
    return doubled


def _portions(mesh: Mesh, middle: NDArray[np.float64] | float = 0.0) -> Iterator[list[NDArray[np.float64]]]:
    """x, y, z of the three corners, from a middle, for as many triangles at a time as fit the cache."""
    columns = np.ascontiguousarray((mesh.vertices - middle).T)
    for start in range(0, len(mesh.triangles), _PORTION):
        corners = mesh.triangles[start : start + _PORTION].T
        yield [column.take(corner) for corner in corners for column in columns]


_PORTION = 1 << 14


def edge_faults(mesh: Mesh) -> EdgeFaults:
    """The edges that keep a mesh from being a closed, oriented 2-manifold, by vertex index.

    Notes
    -----
    The rule is that of 3MF Core 4.1: every edge shared with exactly one other triangle, which runs along it the
    opposite way. A triangle that names one vertex twice shows as an over-used or flipped edge.
    """
    edges = mesh.edges
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


def on_rims(mesh: Mesh) -> NDArray[np.bool_]:
    """(n,) mask of the vertices where the mesh ends: on an edge of a single triangle."""
    mask = np.zeros(len(mesh.vertices), bool)
    mask[edge_faults(mesh).open] = True
    return mask


def is_watertight(mesh: Mesh) -> bool:
    """Whether the mesh is a closed, oriented 2-manifold with at least one triangle."""
    return closes(running_edges(mesh))


def running_edges(mesh: Mesh) -> "csr_array":
    """(n, n) float32 sparse matrix: how many triangles run along an edge, from the row's vertex to the column's."""
    from scipy.sparse import csr_array  # here, for enabling the extension must not wait for it

    start, end = mesh.triangles.ravel(), mesh.triangles[:, [1, 2, 0]].ravel()
    return csr_array((np.ones(len(start), np.float32), (start, end)), shape=(len(mesh.vertices),) * 2)


def closes(running: "csr_array") -> bool:
    """Whether triangles with these running edges make a closed, oriented surface: each edge once each way."""
    back = running.T.tocsr()
    once = running.nnz > 0 and (running.data == 1).all() and not running.diagonal().any()
    return bool(once and (running.indptr == back.indptr).all() and (running.indices == back.indices).all())


def needs_closed(mesh: Mesh, what: str) -> None:
    """Raise `BadMesh` naming the faults and the place of the first unless the mesh is closed and oriented."""
    if not len(mesh.triangles):
        raise BadMesh(f"{what} has no triangles")
    if not is_watertight(mesh):
        faults = edge_faults(mesh)
        edge = next(edges[0] for edges in (faults.open, faults.overused, faults.flipped) if len(edges))
        x, y, z = mesh.vertices[edge].mean(axis=0)
        raise BadMesh(f"{what} is not a closed surface: {faults}, the first near ({x:.2f}, {y:.2f}, {z:.2f}); close it")


def components(mesh: Mesh) -> NDArray[np.int32]:
    """(m,) number of the connected piece each triangle belongs to; 0 is the piece of most triangles."""
    corners = mesh.triangles
    if not len(corners):
        return np.zeros(0, np.int32)
    rows, columns = corners[:, [0, 1]].ravel(), corners[:, [1, 2]].ravel()
    labels = linked_pieces(rows, columns, len(mesh.vertices))[corners[:, 0]]
    sizes = np.bincount(labels)
    rank = np.empty(len(sizes), np.int32)
    rank[np.argsort(-sizes, kind="stable")] = np.arange(len(sizes), dtype=np.int32)
    numbered: NDArray[np.int32] = rank[labels]
    return numbered


def piece_volumes(mesh: Mesh, pieces: NDArray[np.int32]) -> NDArray[np.float64]:
    """(k,) what each piece encloses, cubic millimetres: negative where it is inside out, as a hollow's wall is.

    Parameters
    ----------
    mesh : its pieces closed
    pieces : (m,) number of each triangle's piece, as `components` gives it
    """
    a, b, c = mesh.corners.transpose(1, 0, 2)
    return np.asarray(np.bincount(pieces, weights=np.einsum("ij,ij->i", a, np.cross(b, c)) / 6), np.float64)


def euler(mesh: Mesh) -> int:
    """Vertices in use minus edges plus triangles: 2 for a sphere, 0 for a torus, summed over pieces."""
    one, other = mesh.triangles.astype(np.int64).ravel(), np.roll(mesh.triangles, -1, axis=1).astype(np.int64).ravel()
    edges = np.sort(np.minimum(one, other) * max(len(mesh.vertices), 1) + np.maximum(one, other))
    used = mesh.vertices_of(slice(None))
    distinct = int((edges[1:] != edges[:-1]).sum()) + min(len(edges), 1)
    return int(used.sum()) - distinct + len(mesh.triangles)


def genus(mesh: Mesh) -> int:
    """Handles of a closed mesh, summed over its pieces: 0 for spheres, 1 for a torus or a bored ball."""
    pieces = int(components(mesh).max(initial=-1)) + 1
    return pieces - euler(mesh) // 2
