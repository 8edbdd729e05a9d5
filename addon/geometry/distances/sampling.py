"""Points spread evenly over a surface."""

import numpy as np
from numpy.typing import NDArray

from ..cloud import Cloud
from ..errors import BadMesh
from ..mesh import Mesh


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
    At the places of `places_over`.
    """
    crosses, doubled = _doubled(mesh)
    chosen, weights = places_over(mesh, max(1, round(float(doubled.sum()) / 2 / spacing**2)))
    points = np.einsum("nc,ncd->nd", weights, mesh.corners[chosen])
    lengths = np.maximum(doubled[chosen], 1e-300)[:, None]
    colours = None
    if mesh.colours is not None:
        mixed = np.einsum("nc,ncd->nd", weights, mesh.colours[mesh.triangles[chosen]].astype(np.float64))
        colours = np.rint(mixed).astype(np.uint8)
    return Cloud(points, crosses[chosen] / lengths, colours)


def places_over(mesh: Mesh, count: int) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Places spread evenly over the triangles, each standing for the same area.

    Parameters
    ----------
    mesh : Mesh
    count : how many

    Returns
    -------
    triangle : (count,) int64, ascending
    shares : (count, 3) barycentric coordinates on it

    Raises
    ------
    BadMesh
        No triangle has an area.

    Notes
    -----
    Area is walked through in even strides in the order of the triangles; within a triangle the places follow the
    two-dimensional golden-ratio sequence (plastic number, Roberts 2018: extremelearning.com.au, from memory).
    """
    _, doubled = _doubled(mesh)
    total = float(doubled.sum()) / 2
    if total <= 0:
        raise BadMesh("no triangle has an area: there is no surface to measure on")
    strides = (np.arange(count) + 0.5) * (total / count)
    chosen = np.searchsorted(np.cumsum(doubled) / 2, strides).clip(0, len(doubled) - 1)
    along, across = ((np.arange(count)[:, None] + 0.5) * np.array([0.7548776662466927, 0.5698402909980532]) % 1.0).T
    root = np.sqrt(along)
    return chosen, np.column_stack([1 - root, root * (1 - across), root * across])


def _doubled(mesh: Mesh) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """(m, 3) normals of the triangles, as long as twice their areas, and (m,) those lengths."""
    corners = mesh.corners
    crosses = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    return crosses, np.asarray(np.linalg.norm(crosses, axis=1))
