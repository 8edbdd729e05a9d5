"""Distance with a sign: negative inside a closed mesh, positive outside."""

import numpy as np
from numpy.typing import NDArray

from ..angles import arc_tangent
from ..measures import needs_closed, triangle_normals
from ..mesh import Mesh
from .closest import ClosestPoint

__all__ = ["ClosestPoint", "SignedDistance", "signed_distance"]


def signed_distance(mesh: Mesh, points: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n,) distance of each point to a closed mesh in millimetres, negative inside.

    Raises
    ------
    BadMesh
        The mesh is not closed, so that it has no inside.
    """
    return SignedDistance(mesh).query(points)[0]


class SignedDistance:
    """The closest place on a closed mesh and the side a point lies on, for many points at once.

    Notes
    -----
    The side is that of the angle-weighted normal at the closest place: exact for a closed mesh that does not cut
    itself (Baerentzen and Aanaes 2005, doi 10.1109/TVCG.2005.49). For one that does, `winding` tells sides apart.
    """

    def __init__(self, mesh: Mesh, closest: ClosestPoint | None = None) -> None:
        needs_closed(mesh, "the mesh")
        self._mesh = mesh
        self._closest = closest or ClosestPoint(mesh)
        self._faces = triangle_normals(mesh)
        self._vertices = _vertex_normals(mesh, self._faces)
        self._edges = _edge_normals(mesh, self._faces)

    def query(
        self, points: NDArray[np.float64], far: float = np.inf
    ) -> tuple[NDArray[np.float64], NDArray[np.int32], NDArray[np.float64]]:
        """(n,) signed distance, (n,) triangle and (n, 3) closest place of (n, 3) points; `far` as in `ClosestPoint`."""
        distance, triangle, place = self._closest.query(points, far)
        facing = np.einsum("ij,ij->i", points - place, self._normals_at(triangle, place))
        return np.where(facing < 0, -distance, distance), triangle, place

    def _normals_at(self, triangle: NDArray[np.int32], place: NDArray[np.float64]) -> NDArray[np.float64]:
        """The normal of the face, edge or vertex each place lies on; its length does not matter."""
        shares = _shares(self._mesh.vertices[self._mesh.triangles[triangle]], place)
        absent = shares < 1e-9
        normals = self._faces[triangle].copy()
        on_edge = np.flatnonzero(absent.sum(axis=1) == 1)
        normals[on_edge] = self._edges[triangle[on_edge], absent[on_edge].argmax(axis=1)]
        on_vertex = np.flatnonzero(absent.sum(axis=1) >= 2)
        corner = shares[on_vertex].argmax(axis=1)
        normals[on_vertex] = self._vertices[self._mesh.triangles[triangle[on_vertex], corner]]
        return normals


def _shares(corners: NDArray[np.float64], place: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n, 3) barycentric coordinates of places on their triangles; for one without area, by its longest edge."""
    a, b, c = corners.transpose(1, 0, 2)
    along, beside, offset = b - a, c - a, place - a
    aa, ab, bb = (np.einsum("ij,ij->i", *pair) for pair in ((along, along), (along, beside), (beside, beside)))
    d1, d2 = np.einsum("ij,ij->i", along, offset), np.einsum("ij,ij->i", beside, offset)
    total = np.maximum(aa * bb - ab * ab, np.finfo(np.float64).tiny)
    v, w = (bb * d1 - ab * d2) / total, (aa * d2 - ab * d1) / total
    return np.stack([1 - v - w, v, w], axis=1)


def _vertex_normals(mesh: Mesh, faces: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n, 3) sum of the faces' normals about each vertex, weighted by their angle there."""
    corners = mesh.corners
    ahead, back = np.roll(corners, -1, axis=1) - corners, np.roll(corners, 1, axis=1) - corners
    sines = np.linalg.norm(np.cross(ahead, back), axis=2)
    angles = arc_tangent(sines, np.einsum("tci,tci->tc", ahead, back))
    weighted = (angles[:, :, None] * faces[:, None]).reshape(-1, 3)
    flat, count = mesh.triangles.ravel(), len(mesh.vertices)
    summed: NDArray[np.float64] = np.stack([np.bincount(flat, weighted[:, k], count) for k in range(3)], axis=1)
    return summed


def _edge_normals(mesh: Mesh, faces: NDArray[np.float64]) -> NDArray[np.float64]:
    """(m, 3, 3) sum of the normals on both sides of the edge opposite each corner."""
    here = np.roll(mesh.triangles, -1, axis=1).ravel().astype(np.int64)
    there = np.roll(mesh.triangles, -2, axis=1).ravel().astype(np.int64)
    count = len(mesh.vertices)
    order, back = np.argsort(here * count + there), np.argsort(there * count + here)
    partner = np.empty(len(here), np.int64)
    partner[back] = order  # closed: the k-th edge run one way is the k-th run the other way
    both: NDArray[np.float64] = (np.repeat(faces, 3, axis=0) + faces[partner // 3]).reshape(-1, 3, 3)
    return both
