"""From where a place on or in a solid is seen best."""

import numpy as np
from numpy.typing import NDArray

from ..directions import spread_directions
from ..distances.rays import RayCaster
from ..measures import triangle_normals
from ..mesh import Mesh

_WAYS = 200
_NEAR = 0.03
"""Share of the solid's size by which a place may lie under the surface and still be said to show there."""
_BIAS = 0.25  # what looking along the way that is liked counts beside looking straight at the surface


def outlook(
    solid: Mesh, place: NDArray[np.float64], liked: NDArray[np.float64], caster: RayCaster | None = None
) -> tuple[NDArray[np.float64], bool]:
    """The direction from a place towards whoever looks at it.

    Parameters
    ----------
    solid : a mesh
    place : (3,) on its surface or within, millimetres
    liked : (3,) direction to look from, where there is a choice
    caster : of this mesh, where there is one already

    Returns
    -------
    way : (3,) unit vector
    seen : whether nothing lies before the place; else the solid has to be cut open there to see it
    """
    liked = liked / np.linalg.norm(liked)
    ways = np.concatenate([liked[None], spread_directions(_WAYS)])
    size = float(np.linalg.norm(np.ptp(solid.vertices, axis=0)))
    far = 2 * size + float(np.linalg.norm(place - solid.vertices.mean(axis=0)))
    away, hit = (caster or RayCaster(solid)).first_hit(place + far * ways, -ways)
    before = far - away  # how far before the place the first surface lies; negative where it lies behind
    facing = np.einsum("ij,ij->i", triangle_normals(solid)[np.maximum(hit, 0)], ways)
    seen = (before < _NEAR * size) & (hit >= 0)
    if not seen.any():
        return liked, False
    worth = np.where(seen, facing + _BIAS * ways @ liked - np.abs(before) / size, -np.inf)
    return ways[int(np.argmax(worth))], True
