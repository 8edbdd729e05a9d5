"""Points spread evenly over a surface."""

import numpy as np

from .cloud import Cloud
from .errors import BadMesh
from .mesh import Mesh


def spread_over(mesh: Mesh, spacing: float) -> Cloud:
    """Points on the triangles, one for each `spacing` squared of area, with the triangles' normals.

    Parameters
    ----------
    mesh : Mesh
    spacing : mm between neighbours, on average

    Returns
    -------
    Cloud with normals, and colours where the mesh has them. The same mesh gives the same points.

    Raises
    ------
    BadMesh
        No triangle has an area.

    Notes
    -----
    Area is walked through in even strides in the order of the triangles; within a triangle the places follow the
    two-dimensional golden-ratio sequence (plastic number, Roberts 2018: extremelearning.com.au, from memory).
    """
    corners = mesh.corners
    crosses = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    doubled = np.linalg.norm(crosses, axis=1)
    total = float(doubled.sum()) / 2
    if total <= 0:
        raise BadMesh("no triangle has an area: there is no surface to measure on")
    count = max(1, round(total / spacing**2))
    strides = (np.arange(count) + 0.5) * (total / count)
    chosen = np.searchsorted(np.cumsum(doubled) / 2, strides).clip(0, len(doubled) - 1)
    along, across = ((np.arange(count)[:, None] + 0.5) * np.array([0.7548776662466927, 0.5698402909980532]) % 1.0).T
    root = np.sqrt(along)
    weights = np.column_stack([1 - root, root * (1 - across), root * across])
    points = np.einsum("nc,ncd->nd", weights, corners[chosen])
    lengths = np.maximum(doubled[chosen], 1e-300)[:, None]
    colours = None
    if mesh.colours is not None:
        mixed = np.einsum("nc,ncd->nd", weights, mesh.colours[mesh.triangles[chosen]].astype(np.float64))
        colours = np.rint(mixed).astype(np.uint8)
    return Cloud(points, crosses[chosen] / lengths, colours)
