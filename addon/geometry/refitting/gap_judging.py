"""How a part lies over a surface: the heights of its under side, all over its faces, and what crosses."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..distances.sided import Sided
from ..mending.untangling import crossing_triangles
from ..mesh import Mesh

NEAR = 4.0
"""Millimetres over the surface within which a vertex may come to lie too low."""


@dataclass(frozen=True, eq=False)
class LaidAt:
    """The part, (n,) which of its vertices are under side, and heights over the surface all over that side: least,
    median, greatest; `deepest` the least height anywhere on the part, millimetres; `crossing` how many faces more than
    the `crossed` ones at first pass through another; `freed` how many vertices had to be let off the surface for that.
    """

    mesh: Mesh
    under: NDArray[np.bool_]
    least: float
    median: float
    greatest: float
    deepest: float
    crossing: int
    crossed: int = 0
    freed: int = 0


def judged(
    mesh: Mesh,
    under: NDArray[np.bool_],
    surface: Sided,
    gap: float,
    before: int,
    low: NDArray[np.int64] | None = None,
    crossing: int | None = None,
) -> LaidAt:
    """The part with its heights measured, at its vertices and at two places within each face.

    Parameters
    ----------
    mesh : the part
    under : (n,) vertices of its under side
    surface : what it lies on
    gap : height it was laid at, millimetres
    before : faces that crossed at first
    low : rows of the vertices that may lie near the surface; None for all
    crossing : how many faces pass through another; None to have them counted
    """
    rows = np.arange(len(mesh.vertices)) if low is None else low
    own = np.full(len(mesh.vertices), np.inf)
    own[rows] = surface.query(mesh.vertices[rows])[0]
    faces = low_faces(mesh, np.arange(len(mesh.triangles)), own, under, gap)
    heights = heights_within(mesh, faces, surface)
    side = np.concatenate([own[under], heights[under[mesh.triangles[faces]].all(axis=1)].ravel()])
    side = side if len(side) else np.full(1, np.nan)  # nothing of it lies on the surface
    deepest = min(float(own.min()), float(heights.min(initial=np.inf)))
    least, middle, greatest = float(side.min()), float(np.median(side)), float(side.max())
    more = max(0, (len(crossing_triangles(mesh)) if crossing is None else crossing) - before)
    return LaidAt(mesh, under, least, middle, greatest, deepest, more, before)


def heights_within(mesh: Mesh, faces: NDArray[np.int64], surface: Sided) -> NDArray[np.float64]:
    """(f, 2) heights in the middle of these faces and of their longest edges: where they are off a form most."""
    corners = mesh.vertices[mesh.triangles[faces]]
    longest, _ = _longest_edges(corners)
    ends = np.take_along_axis(corners, np.stack([longest, (longest + 1) % 3], axis=1)[:, :, None], axis=1)
    places = np.stack([corners.mean(axis=1), ends.mean(axis=1)], axis=1)
    return surface.query(places.reshape(-1, 3))[0].reshape(-1, 2)


def low_faces(
    mesh: Mesh, faces: NDArray[np.int64], own: NDArray[np.float64], under: NDArray[np.bool_], gap: float
) -> NDArray[np.int64]:
    """Of these faces those of the under side, and those that may come lower than the gap, by their vertices' heights.

    Height changes by no more than the way gone, and no place of a face is farther from its nearest vertex than its
    longest edge over the root of three.
    """
    triangles = mesh.triangles[faces]
    _, longest = _longest_edges(mesh.vertices[triangles])
    may = own[triangles].min(axis=1) - longest / 3**0.5 < gap
    low: NDArray[np.int64] = faces[may | under[triangles].all(axis=1)]
    return low


def _longest_edges(corners: NDArray[np.float64]) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Of each triangle the corner its longest edge starts from, and how long that is."""
    lengths = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2)
    longest = lengths.argmax(axis=1)
    return longest, lengths[np.arange(len(lengths)), longest]
