"""How rough a mesh is, apart from its shape."""

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from ..clouds.normals import vertex_normals
from ..mesh import Mesh
from ..robust import robust_deviation


def mesh_noise(mesh: Mesh) -> float:
    """The deviation of vertices along their normals that is not the surface's own curvature, millimetres.

    Parameters
    ----------
    mesh : any triangles; 0 where it has none

    Notes
    -----
    How far a vertex stands over the mean of those around is its share of the curvature and its noise. Curvature goes
    on from vertex to vertex, noise does not: what is left against the vertices around is noise, with a known factor
    for six neighbours. The median takes creases out.
    """
    if not len(mesh.triangles):
        return 0.0
    count = len(mesh.vertices)
    a, b, c = mesh.triangles.astype(np.int64).T
    start, end = np.concatenate([a, b, c, b, c, a]), np.concatenate([b, c, a, a, b, c])
    ring = csr_array((np.ones(len(start)), (start, end)), shape=(count, count))
    ring.data[:] = 1.0
    around = np.maximum(ring.sum(axis=1), 1)
    over = np.einsum("ij,ij->i", mesh.vertices - (ring @ mesh.vertices) / around[:, None], vertex_normals(mesh))
    left: NDArray[np.float64] = (over - (ring @ over) / around)[np.unique(mesh.triangles)]
    return robust_deviation(left) / _GAIN


_GAIN = float(np.sqrt((1 + 1 / 6) ** 2 + 6 * (2 / 6 - 2 / 36) ** 2 + 6 * (1 / 36) ** 2 + 6 * (2 / 36) ** 2))
"""Deviation of `left` for noise of 1 where each vertex has six neighbours: the terms of (1 - A)², A their mean."""
