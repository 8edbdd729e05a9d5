"""The rims of a mesh of quads closed, each by a fan of triangles round one vertex."""

import numpy as np
from numpy.typing import NDArray

from ..mending.untangling import crossing_near
from ..mesh import Mesh
from .quads import Quads, as_triangles, rims_of

_OUT = (0.0, 0.1, 0.2, 0.4, 0.7, 1.0)
"""How far before the rim the vertex is put, in radii of it, until the fan crosses nothing."""


def capped(vertices: NDArray[np.float64], quads: Quads) -> tuple[Mesh, list[int]]:
    """The quads as triangles with every rim closed.

    Parameters
    ----------
    vertices, quads : (n, 3) and (m, 4), a mesh with rims or without

    Returns
    -------
    The mesh, whose first vertices are those given and whose first 2 m triangles are the quads', and a vertex of each
    rim, in the order in which the new vertices follow.

    Notes
    -----
    The new vertex lies in the middle of its rim; where the fan would pass through the skin, as on a neck whose edge
    was drawn inwards, out before it along the way the skin runs there.
    """
    mesh, beside = Mesh(vertices, as_triangles(vertices, quads)), []
    for rim in rims_of(quads):
        onto = np.isin(quads, rim).any(axis=1)
        middle = vertices[rim].mean(axis=0)
        out = middle - vertices[np.unique(quads[onto])].mean(axis=0)
        out /= max(float(np.linalg.norm(out)), 1e-12)
        radius = float(np.linalg.norm(vertices[rim] - middle, axis=1).mean())
        fan = np.stack([np.roll(rim, -1), rim, np.full(len(rim), len(mesh.vertices))], axis=1)
        triangles = np.vstack([mesh.triangles, fan]).astype(np.int32)
        tried = [Mesh(np.vstack([mesh.vertices, middle + share * radius * out]), triangles) for share in _OUT]
        mesh = _least_crossing(tried, np.arange(len(mesh.triangles), len(triangles)))
        beside.append(int(rim[0]))
    return mesh, beside


def _least_crossing(meshes: list[Mesh], some: NDArray[np.int64]) -> Mesh:
    """The first mesh in which nothing crosses near some triangles, else that in which least does."""
    best, least = meshes[0], np.inf
    for mesh in meshes:
        crossing = len(crossing_near(mesh, some))
        if crossing < least:
            best, least = mesh, crossing
        if not crossing:
            break
    return best
