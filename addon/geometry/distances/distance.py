"""Distance with a sign: negative inside a closed mesh, positive outside."""

from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ..angles import arc_tangent
from ..measures import needs_closed, triangle_normals
from ..mesh import Mesh
from ..neighbours import stable_order
from ..portions import from_portions
from .closest import ClosestPoint
from .columns import corner_columns, crosses, dots


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

    def query(self, points: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.int32], NDArray[np.float64]]:
        """(n,) signed distance, (n,) triangle and (n, 3) closest place of (n, 3) points."""
        distance, triangle, place = self._closest.query(points)
        away = points - place
        facing = np.einsum("ij,ij->i", away, self._faces.take(triangle, axis=0))
        beside = np.flatnonzero(np.abs(facing) < (1 - 1e-12) * distance)  # not straight over or under the face
        normals = self._normals_at(triangle[beside], place[beside])
        facing[beside] = np.einsum("ij,ij->i", away[beside], normals)
        return np.where(facing < 0, -distance, distance), triangle, place

    def _normals_at(self, triangle: NDArray[np.int32], place: NDArray[np.float64]) -> NDArray[np.float64]:
        """The normal of the face, edge or vertex each place lies on; its length does not matter."""
        shares = _shares(self._mesh.vertices[self._mesh.triangles[triangle]], place)
        absent = shares < 1e-9
        normals = self._faces[triangle]
        on_edge = np.flatnonzero(absent.sum(axis=1) == 1)
        normals[on_edge] += self._faces[self._beyond(triangle[on_edge], absent[on_edge].argmax(axis=1))]
        on_vertex = np.flatnonzero(absent.sum(axis=1) >= 2)
        corner = shares[on_vertex].argmax(axis=1)
        normals[on_vertex] = self._vertices[self._mesh.triangles[triangle[on_vertex], corner]]
        return normals

    def _beyond(self, triangle: NDArray[np.int32], corner: NDArray[np.int64]) -> NDArray[np.int64]:
        """The triangle on the other side of the edge opposite a corner of each."""
        keys, rows = self._edges
        start, end = (self._mesh.triangles[triangle, (corner + k) % 3].astype(np.uint64) for k in (1, 2))
        back = np.searchsorted(keys, end * np.uint64(len(self._mesh.vertices)) + start)
        beyond: NDArray[np.int64] = rows.take(back)  # closed: it is run that way too
        return beyond

    @cached_property
    def _edges(self) -> tuple[NDArray[np.uint64], NDArray[np.int64]]:
        """Every edge as it is run along, as one number, ascending; and the triangle that runs it."""
        start, end = self._mesh.triangles.astype(np.uint64).ravel(), self._mesh.triangles[:, [1, 2, 0]].ravel()
        keys = start * np.uint64(len(self._mesh.vertices)) + end.astype(np.uint64)
        order = stable_order(keys)
        return keys.take(order), order // 3

    @cached_property
    def _vertices(self) -> NDArray[np.float64]:
        """(n, 3) sum of the faces' normals about each vertex, weighted by their angle there."""
        columns = np.ascontiguousarray(self._mesh.vertices.T)

        def angles(part: slice) -> NDArray[np.float64]:
            a, b, c = corner_columns(columns, self._mesh.triangles[part])
            ways = ((b - a, c - a), (c - b, a - b), (a - c, b - c))
            doubled = crosses(*ways[0])
            sine = np.sqrt(dots(doubled, doubled))
            return np.stack([arc_tangent(sine, dots(ahead, back)) for ahead, back in ways], axis=1)

        each = np.concatenate(from_portions(len(self._mesh.triangles), 1 << 14, angles))
        corner = self._mesh.triangles.ravel()
        weighted = [(each * axis[:, None]).ravel() for axis in self._faces.T]
        return np.stack([np.bincount(corner, axis, columns.shape[1]) for axis in weighted], axis=1)


def _shares(corners: NDArray[np.float64], place: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n, 3) barycentric coordinates of places on their triangles; for one without area, by its longest edge."""
    a, b, c = corners.transpose(1, 0, 2)
    along, beside, offset = b - a, c - a, place - a
    aa, ab, bb = (np.einsum("ij,ij->i", *pair) for pair in ((along, along), (along, beside), (beside, beside)))
    d1, d2 = np.einsum("ij,ij->i", along, offset), np.einsum("ij,ij->i", beside, offset)
    total = np.maximum(aa * bb - ab * ab, np.finfo(np.float64).tiny)
    v, w = (bb * d1 - ab * d2) / total, (aa * d2 - ab * d1) / total
    return np.stack([1 - v - w, v, w], axis=1)
