"""A sheet given a thickness: all that lies near it becomes solid, but nothing that is too low over a surface."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from ..distances.closest import ClosestPoint
from ..distances.sampling import spread_over
from ..distances.sided import Sided
from ..errors import NotPossible
from ..measures import components, triangle_areas
from ..mending.untangling import untangled
from ..mesh import Mesh
from ..printing.offset import level_band
from ..progress import SILENT, Progress
from ..surfacing.isosurface import isosurface_of_band
from .gap_judging import LaidAt, judged
from .under_side import faces_under

_STEPS = 3  # of the grid across the thickness
_DOTS = 7  # of the rough distance across the thickness
_SNAPPED = 0.3  # share of the thickness within which the under side is put at its height
_SAME = 0.02  # share of the thickness by which a place of the sheet may be lower than it should, and count as not
_BALL = 0.25  # of the cube of the thickness: half of what a ball as thick holds
_EASED = 0.05  # of the thickness: no farther goes what is moved where faces would cross
_MOST = 5_000_000  # triangles


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

    Raises
    ------
    NotPossible
        So thin on so large a sheet that it takes more triangles than can be worked with.

    Notes
    -----
    The level of a distance on a grid, so that nothing crosses, however the sheet bends; each vertex is then put at the
    exact distance from the sheet's faces, or at the gap. Voids shut in where sheets nearly touch are filled: nothing
    would run out of them.
    """
    half, spacing = thickness / 2, thickness / _STEPS
    _needs_few(sheet, thickness)
    dots = _Dots(sheet, thickness / _DOTS, surface, thickness + gap)

    def distance(points: NDArray[np.float64], far: float) -> NDArray[np.float64]:
        """From the sheet, and over the half where the surface is too near.

        Height changes by no more than the way gone: only beside a dot that is itself too low can a point be.
        """
        away, low = dots.query(points, far, half + gap - _SAME * thickness)
        height, _ = surface.query(points[low])
        away[low] = np.maximum(away[low], half + gap - height)
        return away

    reach = np.array([sheet.vertices.min(axis=0) - half, sheet.vertices.max(axis=0) + half])
    nodes, values = level_band(distance, half, reach, spacing, None, progress)
    solid = _without_voids(isosurface_of_band(nodes, values, half, reach[0], spacing), thickness)
    solid = replace(solid, vertices=_at_distance(solid.vertices, sheet, half))
    nearest = cKDTree(sheet.vertices).query(solid.vertices, workers=-1)[1]
    _, low = dots.query(solid.vertices, thickness, thickness + gap)
    vertices, ways = solid.vertices.copy(), np.zeros(solid.vertices.shape)
    height = np.full(len(vertices), np.inf)
    height[low], ways[low] = surface.query(vertices[low])
    below = under[nearest] & faces_under(solid, ways) & (height < gap + _SNAPPED * thickness)
    put = below | (height < gap)
    vertices[put] += (gap - height[put])[:, None] * ways[put]
    colours = None if sheet.colours is None else sheet.colours[nearest]
    # Put at their exact places, neighbours can change sides where folds of the sheet meet.
    mesh, _, crossing = untangled(Mesh(vertices, solid.triangles, colours), reach=_EASED * thickness)
    progress(0.9, "measuring the gap")
    return judged(mesh, below, surface, gap, 0, low, crossing)


class _Dots:
    """Many dots on a sheet, each with its height over a surface: how far the sheet is, and whether it is low there."""

    def __init__(self, sheet: Mesh, spacing: float, surface: Sided, highest: float) -> None:
        """Heights are told up to `highest`."""
        dots = spread_over(sheet, spacing).points
        self._tree = cKDTree(dots, leafsize=48)
        self._height = np.full(len(dots) + 1, np.inf)  # one more for points with no dot within reach
        away, vertex = cKDTree(sheet.vertices).query(dots, workers=-1)
        may = np.flatnonzero(surface.query(sheet.vertices)[0][vertex] - away < highest)
        self._height[may] = surface.query(dots[may])[0]

    def query(
        self, points: NDArray[np.float64], far: float, least: float
    ) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
        """(n,) distances, infinite beyond `far`, and the rows of points whose nearest dot is lower than `least`."""
        away, rows = self._tree.query(points, distance_upper_bound=far * (1 + 1e-9), workers=-1)
        return away, np.flatnonzero(self._height[rows] < least)


def _without_voids(solid: Mesh, thickness: float) -> Mesh:
    """The outer pieces alone, which face outwards and are no smaller than a ball as thick as the solid, or nearly."""
    number, (a, b, c) = components(solid), solid.corners.transpose(1, 0, 2)
    held = np.bincount(number, np.einsum("ij,ij->i", a, np.cross(b, c)) / 6)  # of each piece
    return solid.kept(held[number] > _BALL * thickness**3)


def _needs_few(sheet: Mesh, thickness: float) -> None:
    """Raise `NotPossible` where the solid would have too many triangles: some 2.6 a square of the grid on each side."""
    area = float(triangle_areas(sheet).sum())
    expected = 2 * 2.6 * area / (thickness / _STEPS) ** 2
    if expected > _MOST:
        least = thickness * (expected / _MOST) ** 0.5
        raise NotPossible(
            f"{area / 100:.0f} cm2 of hair {thickness:.2f} mm thick at life size takes {expected / 1e6:.0f} million "
            f"triangles: thicken it to {least:.2f} mm or more"
        )


def _at_distance(vertices: NDArray[np.float64], sheet: Mesh, half: float) -> NDArray[np.float64]:
    """Vertices put at half the thickness from the sheet's faces."""
    away, _, place = ClosestPoint(sheet).query(vertices)
    found: NDArray[np.float64] = place + half * (vertices - place) / np.maximum(away, 1e-12)[:, None]
    return found
