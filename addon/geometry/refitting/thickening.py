"""A sheet given a thickness: all that lies near it becomes solid, but nothing that is too low over a surface."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from ..distances.closest import ClosestPoint
from ..distances.rough_distance import RoughDistance
from ..distances.sided import Sided
from ..mesh import Mesh
from ..printing.offset import level_band
from ..progress import SILENT, Progress
from ..surfacing.isosurface import isosurface_of_band
from .gap_laying import LaidAt, judged
from .under_side import faces_under

_STEPS = 3  # of the grid across the thickness
_DOTS = 7  # of the rough distance across the thickness
_SNAPPED = 0.3  # share of the thickness within which the under side is put at its height


def thickened(
    sheet: Mesh,
    under: NDArray[np.bool_],
    thickness: float,
    surface: Sided,
    gap: float,
    progress: Progress = SILENT,
) -> LaidAt:
    """The solid round a sheet, half of its thickness to either side.

    Parameters
    ----------
    sheet : any mesh, millimetres; open, or of several pieces
    under : (n,) its vertices that lie on the surface: at `gap` plus half the thickness over it
    thickness : of the solid
    surface : what it lies on
    gap : height under which there is nothing of the solid

    Returns
    -------
    LaidAt: closed, its edges round, its under side at the gap; colours are those of the nearest vertex of the sheet.

    Notes
    -----
    The level of a distance on a grid, so that nothing crosses, however the sheet bends; each vertex is then put at the
    exact distance from the sheet's faces, or at the gap.
    """
    half, spacing = thickness / 2, thickness / _STEPS
    rough = RoughDistance(sheet, thickness / _DOTS)

    def distance(points: NDArray[np.float64], far: float) -> NDArray[np.float64]:
        """From the sheet, and over the half where the surface is too near."""
        away = rough.query(points, far)
        near = np.flatnonzero(np.isfinite(away))
        height, _ = surface.query(points[near], thickness + abs(gap))
        away[near] = np.maximum(away[near], half + gap - height)
        return away

    reach = np.array([sheet.vertices.min(axis=0) - half, sheet.vertices.max(axis=0) + half])
    nodes, values = level_band(distance, half, reach, spacing, None, progress)
    solid = isosurface_of_band(nodes, values, half, reach[0], spacing)
    solid = replace(solid, vertices=_exact(solid.vertices, sheet, half, surface, gap))
    nearest = cKDTree(sheet.vertices).query(solid.vertices, workers=-1)[1]
    height, ways = surface.query(solid.vertices)
    below = under[nearest] & faces_under(solid, ways) & (height < gap + _SNAPPED * thickness)
    vertices = solid.vertices.copy()
    vertices[below] += (gap - height[below])[:, None] * ways[below]
    colours = None if sheet.colours is None else sheet.colours[nearest]
    return judged(Mesh(vertices, solid.triangles, colours), below, surface, gap, 0)


def _exact(vertices: NDArray[np.float64], sheet: Mesh, half: float, surface: Sided, gap: float) -> NDArray[np.float64]:
    """Vertices put at half the thickness from the sheet, or at the gap where that is too low."""
    away, _, place = ClosestPoint(sheet).query(vertices)
    found: NDArray[np.float64] = place + half * (vertices - place) / np.maximum(away, 1e-12)[:, None]
    height, ways = surface.query(found, half + abs(gap))
    low = height < gap
    found[low] += (gap - height[low])[:, None] * ways[low]
    return found
