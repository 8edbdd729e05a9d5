"""The triangle mesh every floor above works on."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .errors import BadMesh


@dataclass(frozen=True, eq=False)
class Mesh:
    """Triangles over shared vertices. Treat the arrays as read-only: operations return new meshes.

    Parameters
    ----------
    vertices : (n, 3) float64 array, millimetres
    triangles : (m, 3) int32 array of rows of `vertices`, counter-clockwise seen from outside
    colours : (n, 3) uint8 array, sRGB, or None
    columns : name to (n,) array, one value a vertex (confidence, deviation, marks)

    Raises
    ------
    BadMesh
        Wrong shapes, an index out of range, or a coordinate that is not finite.
    """

    vertices: NDArray[np.float64]
    triangles: NDArray[np.int32]
    colours: NDArray[np.uint8] | None = None
    columns: Mapping[str, NDArray[np.generic]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        vertices = np.ascontiguousarray(self.vertices, dtype=np.float64).reshape(-1, 3)
        corners = np.asarray(self.triangles)
        if corners.size and corners.shape[-1] != 3:
            raise BadMesh(f"triangles have {corners.shape[-1]} corners instead of 3: triangulate them first")
        if corners.size and (corners.min() < 0 or corners.max() >= len(vertices)):
            where = int(np.argmax(((corners < 0) | (corners >= len(vertices))).any(axis=1)))
            raise BadMesh(f"triangle {where} names a vertex outside 0 to {len(vertices) - 1}: the mesh is damaged")
        if not np.isfinite(vertices).all():
            where = int(np.argmin(np.isfinite(vertices).all(axis=1)))
            raise BadMesh(f"vertex {where} is not a finite point: remove it first")
        object.__setattr__(self, "vertices", vertices)
        object.__setattr__(self, "triangles", np.ascontiguousarray(corners, dtype=np.int32).reshape(-1, 3))
        for name, values in {"colours": self.colours, **self.columns}.items():
            if values is not None and len(values) != len(vertices):
                raise BadMesh(f"{name} holds {len(values)} rows for {len(vertices)} vertices")

    @property
    def corners(self) -> NDArray[np.float64]:
        """(m, 3, 3) array: the three points of each triangle."""
        return self.vertices[self.triangles]

    @property
    def edges(self) -> NDArray[np.int64]:
        """(3 m, 2) array: the ends of each triangle's three edges as it runs along them, triangle after triangle."""
        return self.triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2).astype(np.int64)

    def vertices_of(self, triangles: NDArray[np.generic] | slice) -> NDArray[np.bool_]:
        """(n,) mask of the vertices that the chosen triangles (mask or rows) use."""
        used = np.zeros(len(self.vertices), bool)
        used[self.triangles[triangles]] = True
        return used

    def triangles_at(self, vertices: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """(m,) mask of the triangles that have a corner among the chosen vertices (mask)."""
        touching: NDArray[np.bool_] = vertices[self.triangles].any(axis=1)
        return touching

    def moved(self, matrix: NDArray[np.float64]) -> "Mesh":
        """The mesh under a (4, 4) transform. A mirroring one also turns the triangles round."""
        vertices = self.vertices @ matrix[:3, :3].T + matrix[:3, 3]
        mirrored = np.linalg.det(matrix[:3, :3]) < 0
        return replace(self, vertices=vertices, triangles=self.triangles[:, ::-1] if mirrored else self.triangles)

    def kept(self, triangles: NDArray[np.generic]) -> "Mesh":
        """The mesh of the chosen triangles (mask or rows), without the vertices no longer used."""
        used = self.vertices_of(triangles)
        return self.remade(self.vertices[used], (np.cumsum(used) - 1)[self.triangles[triangles]], used)

    def with_column(self, name: str, values: NDArray[np.generic]) -> "Mesh":
        """The mesh with one more value a vertex, replacing a column of that name."""
        return replace(self, columns={**self.columns, name: values})

    def remade(self, vertices: NDArray[np.float64], triangles: NDArray[Any], rows: NDArray[np.generic]) -> "Mesh":
        """Another mesh, whose vertices carry the colours and columns of vertices of this one.

        Parameters
        ----------
        vertices, triangles : (k, 3) and (t, 3) arrays of the other mesh
        rows : (k,) the vertex of this one that lends to each of those; or a mask of (n,) with k of them
        """
        return Mesh(
            vertices,
            triangles,
            None if self.colours is None else self.colours[rows],
            {name: values[rows] for name, values in self.columns.items()},
        )
