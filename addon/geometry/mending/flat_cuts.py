"""Where a closed mesh was cut off flat: a wide face with nothing beyond it, such as no grown thing has."""

import numpy as np
from numpy.typing import NDArray

from ..directions import spread_directions
from ..measures import triangle_areas, triangle_normals
from ..mesh import Mesh

_THICK = 1.5  # mm to either side within which a rough cut stays of its plane
_ALIKE = np.cos(np.radians(20.0))
_SLABS = (15.0, 8.0, 4.0, 2.0, _THICK, _THICK)  # mm, from a way that is only about right to the plane itself
_LEAST = 6000.0
"""mm2 from which it is a cut. Of a ball as flat as a temple (radius 150 mm) 2,827 lie within so much of one plane; a
neck of 380 mm round, cut across, has 11,500."""
_SOME = 40_000  # about so many triangles are looked at to find the planes
_BEYOND = 4.0  # mm that crumbs may stand out beyond a cut
_TRIES = 150  # ways looked; about 15 degrees from one to the next, and what faces one may be 20 off


def cut_flat(mesh: Mesh) -> NDArray[np.bool_]:
    """(n,) mask of the vertices of flat cuts.

    Parameters
    ----------
    mesh : of a head's size, millimetres at life size

    Notes
    -----
    A way is tried if more than the least area about faces it. A plane is laid along what lies outermost that way and
    faces it, then along what lies nearer to that plane, a few times over; the rest of the mesh must lie behind it.
    """
    some = slice(None, None, max(1, len(mesh.triangles) // _SOME))
    every = triangle_normals(mesh), triangle_areas(mesh), mesh.corners.mean(axis=1)
    normals, areas, middles = (each[some] for each in every)
    areas = areas * (every[1].sum() / max(float(areas.sum()), 1e-12))
    found = np.zeros(len(mesh.vertices), bool)
    ways = spread_directions(_TRIES)
    facing = (ways @ ways.T > _ALIKE) @ np.bincount(np.argmax(normals @ ways.T, axis=1), areas, len(ways))
    for way in ways[facing > _LEAST]:
        plane = _cut_plane(normals, areas, middles, way)
        if plane is None:
            continue
        middle, way = plane
        if ((mesh.vertices - middle) @ way).max() < _BEYOND:
            cut = (every[0] @ way > _ALIKE) & (np.abs((every[2] - middle) @ way) < _THICK)
            found |= mesh.vertices_of(cut)
    return found


def _cut_plane(
    normals: NDArray[np.float64], areas: NDArray[np.float64], middles: NDArray[np.float64], way: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]] | None:
    """A point and the normal of a plane as wide as a cut that faces about this way, or None."""
    faces = normals @ way > _ALIKE
    middle = middles[int(np.argmax(middles @ way))]
    for thick in _SLABS:
        cut = faces & (np.abs((middles - middle) @ way) < thick)
        if areas[cut].sum() < _LEAST / 4:
            return None
        middle, way = _plane(middles[cut], normals[cut], areas[cut])
        faces = normals @ way > _ALIKE
    wide = areas[faces & (np.abs((middles - middle) @ way) < _THICK)].sum() > _LEAST
    return (middle, way) if wide else None


def _plane(
    places: NDArray[np.float64], normals: NDArray[np.float64], weights: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """A point of the plane that weighted places lie along, half of their weight before it, and its normal."""
    way = weights @ normals
    way /= np.linalg.norm(way)
    height = places @ way
    order = np.argsort(height, kind="stable")
    half = order[np.searchsorted(np.cumsum(weights[order]), weights.sum() / 2)]
    return places[half], way
