"""The noise of a scanned surface smoothed out, the grooves between its locks left in."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from ..measures import on_rims, triangle_normals
from ..mesh import Mesh

_ALIKE = 0.5  # cosine between the normals of two faces from which one says nothing of the other: 60 degrees
_TURNS = 5  # times the vertices are drawn to the smoothed normals: more wear the crests down


def locks_smoothed(mesh: Mesh, rounds: int) -> Mesh:
    """The mesh with its faces turned to how those around face, but for those beyond a crease.

    Parameters
    ----------
    mesh : any triangles; rims stay where they are
    rounds : how often normals are averaged over the faces that share a vertex; 3 take out noise, 10 soften locks

    Notes
    -----
    Sun and others 2007, "Fast and effective feature-preserving mesh denoising", doi 10.1109/TVCG.2007.1065; from
    memory: normals are averaged with weights (cosine - threshold)², then vertices drawn to the planes of their faces.
    """
    if not rounds or not len(mesh.triangles):
        return mesh
    count, faces = len(mesh.vertices), len(mesh.triangles)
    corner = csr_array(
        (np.ones(3 * faces, np.float32), (np.repeat(np.arange(faces), 3), mesh.triangles.ravel())), (faces, count)
    )
    beside = (corner @ corner.T).tocoo()
    start, end = beside.row, beside.col
    normals = triangle_normals(mesh)
    for _ in range(rounds):
        alike = np.clip(np.einsum("ij,ij->i", normals[start], normals[end]) - _ALIKE, 0.0, None) ** 2
        normals = csr_array((alike, (start, end)), (faces, faces)) @ normals
        normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-12)
    return replace(mesh, vertices=_drawn_to(mesh, normals, corner.T.tocsr()))


def _drawn_to(mesh: Mesh, normals: NDArray[np.float64], around: csr_array) -> NDArray[np.float64]:
    """Vertices moved until their faces look as the normals say."""
    vertices, free = mesh.vertices.copy(), np.flatnonzero(~on_rims(mesh))
    share = 1.0 / np.maximum(np.asarray(around.sum(axis=1)).ravel(), 1.0)
    for _ in range(_TURNS):
        middles = vertices[mesh.triangles].mean(axis=1)
        off = np.einsum("ij,ij->i", normals, middles)
        # the sum over a vertex's faces of n (n . (middle - vertex)): a part of the middles, and one of the vertex
        pull = around @ (normals * off[:, None])
        outer = around @ np.einsum("ni,nj->nij", normals, normals).reshape(-1, 9)
        pull -= np.einsum("nij,nj->ni", outer.reshape(-1, 3, 3), vertices)
        vertices[free] += share[free, None] * pull[free]
    return vertices
