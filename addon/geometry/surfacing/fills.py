"""What a closed surface filled in: the gaps of a scan, each with its size and place, and how far it stands out."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..directions import spread_directions
from ..measures import components, triangle_areas
from ..mending.smoothing import averaging
from ..mesh import Mesh

FARTHEST = 5.0
"""Millimetres from the data beyond which the surface counts as filled in, however sparse the points are."""
_DIRECTIONS = 200  # about 14 degrees from one to the next


@dataclass(frozen=True, eq=False)
class Fill:
    """A piece of surface that no points support.

    `triangles` are its rows in the mesh, `area` is in square millimetres, `across` how far it reaches in the direction
    it is widest, `place` (3,) the middle of its area, `farthest` its greatest distance from a point and `bulge` how
    far it stands out of what its rim spans, all in millimetres.
    """

    triangles: NDArray[np.int64]
    area: float
    across: float
    place: NDArray[np.float64]
    farthest: float
    bulge: float


def fills(mesh: Mesh) -> list[Fill]:
    """The pieces of a closed surface that were filled in, the largest first.

    Parameters
    ----------
    mesh : as `closing.closed_surface` makes it, with the columns `confidence` and `distance_from_data_mm`

    Notes
    -----
    Filled in is where a triangle's corners are believed by less than a half in the mean, or one lies over `FARTHEST`
    off. A fill that stays within the convex hull of its rim is no bubble: the hull is measured in some directions.
    """
    gap = mesh.columns["distance_from_data_mm"].astype(np.float64)
    believed = mesh.columns["confidence"][mesh.triangles].mean(axis=1)
    rows = np.flatnonzero((believed < 0.5) | (gap[mesh.triangles].max(axis=1) > FARTHEST))
    piece = components(Mesh(mesh.vertices, mesh.triangles[rows]))
    in_others = np.ones(len(mesh.triangles), bool)
    in_others[rows] = False
    on_rim = mesh.vertices_of(in_others)
    order = np.argsort(piece, kind="stable")
    starts = np.searchsorted(piece[order], np.arange(int(piece.max(initial=-1)) + 1))
    found = [_fill(mesh, rows[some], gap, on_rim) for some in np.split(order, starts[1:]) if len(some)]
    return sorted(found, key=lambda fill: -fill.area)


def relaxed(mesh: Mesh, shares: NDArray[np.float64], passes: int = 12) -> tuple[Mesh, NDArray[np.int64]]:
    """The mesh with the vertices of what was filled in drawn to the mean of their neighbours.

    Parameters
    ----------
    mesh : closed
    shares : (n,) how much of the way a vertex goes each time, 0 for those that points support: they stay
    passes : how often; waves as long as so many edges are gone, a flat stays flat

    Returns
    -------
    The mesh, and the rows of the vertices that may have moved.

    Notes
    -----
    Along its rim a fill is ragged, as the last points of the scan lie at random, and stands up by a spacing.
    """
    moving = shares > 0
    if not moving.any():
        return mesh, np.flatnonzero(moving)
    near = mesh.triangles_at(moving)
    part, number = mesh.kept(near), np.flatnonzero(mesh.vertices_of(near))
    mean, some = averaging(part).astype(np.float64), shares[number, None]
    place = part.vertices
    for _ in range(passes):
        place = place + some * (mean @ place - place)
    vertices = mesh.vertices.copy()
    vertices[number] = place
    return replace(mesh, vertices=vertices), np.flatnonzero(moving)


def _fill(mesh: Mesh, rows: NDArray[np.int64], gap: NDArray[np.float64], on_rim: NDArray[np.bool_]) -> Fill:
    part = Mesh(mesh.vertices, mesh.triangles[rows])
    areas, used = triangle_areas(part), np.unique(part.triangles)
    place = areas @ part.corners.mean(axis=1) / max(float(areas.sum()), 1e-300)
    ways = _directions(mesh.vertices[used[on_rim[used]]])
    along = (mesh.vertices[used] - place) @ ways.T
    rim = along[on_rim[used]]
    beyond = along.max(axis=0) - rim.max(axis=0) if len(rim) else np.ptp(along, axis=0)
    across = float(np.ptp(along, axis=0).max())
    return Fill(rows, float(areas.sum()), across, place, float(gap[used].max()), float(beyond.max()))


def _directions(rim: NDArray[np.float64]) -> NDArray[np.float64]:
    """(k, 3) unit vectors spread over the sphere, and those square to a rim that is flat."""
    spread = spread_directions(_DIRECTIONS)
    if len(rim) < 3:
        return spread
    flat = np.linalg.eigh(np.cov(rim.T))[1][:, 0]
    return np.concatenate([spread, np.stack([flat, -flat])])
