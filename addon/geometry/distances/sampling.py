"""Points spread evenly over a surface."""

import numpy as np
from numpy.typing import NDArray

from ..cloud import Cloud
from ..errors import BadMesh
from ..measures import area, triangle_areas, triangle_normals
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
    chosen, weights = places_over(mesh, max(1, round(area(mesh) / spacing**2)))
    points = np.einsum("nc,ncd->nd", weights, mesh.corners[chosen])
    colours = None
    if mesh.colours is not None:
        mixed = np.einsum("nc,ncd->nd", weights, mesh.colours[mesh.triangles[chosen]].astype(np.float64))
        colours = np.rint(mixed).astype(np.uint8)
    return Cloud(points, triangle_normals(mesh)[chosen], colours)


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
    areas = triangle_areas(mesh)
    total = float(areas.sum())
    if total <= 0:
        raise BadMesh("no triangle has an area: there is no surface to measure on")
    strides = (np.arange(count) + 0.5) * (total / count)
    chosen = np.searchsorted(np.cumsum(areas), strides).clip(0, len(areas) - 1)
    along, across = ((np.arange(count)[:, None] + 0.5) * np.array([0.7548776662466927, 0.5698402909980532]) % 1.0).T
    root = np.sqrt(along)
    return chosen, np.column_stack([1 - root, root * (1 - across), root * across])
