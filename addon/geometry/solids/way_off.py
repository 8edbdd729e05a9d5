"""The direction in which a part that lies on others comes off with least in its way."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ..directions import spread_directions
from ..distances.sampling import places_over
from ..measures import area, triangle_normals
from ..mesh import Mesh

_NEAR = 0.3
"""Millimetres within which a place of the part is taken to lie on what is under it."""
_PLACES, _WAYS = 20_000, 2_000
_ASKED_FOR = 0.02
"""What turning square to the direction asked for counts, over the whole under side pushing straight against what it
lies on: so that of ways as good as each other the nearest is taken; a judgement of ours, no source."""
Vectors = NDArray[np.float64]


def way_off(part: Mesh, solids: Sequence[Mesh], wanted: Vectors) -> tuple[Vectors, float]:
    """The way a part comes off, least of its under side pushing against what it lies on.

    Parameters
    ----------
    part, solids : closed meshes; the part lies on the solids
    wanted : (3,) a direction that is taken where others are no better

    Returns
    -------
    way : (3,) unit vector
    held : share, from 0 to 1, of the under side that pushes against the solids along it, each place by its slope
    """
    from scipy.spatial import cKDTree

    unit = np.asarray(wanted, dtype=np.float64) / np.linalg.norm(wanted)
    at, looks = _spread(part, _PLACES)
    under = np.zeros(len(at), bool)
    for solid in solids:
        dots, outwards = _spread(solid, int(np.clip(4 * area(solid) / _NEAR**2, 1, 200_000)))
        far, nearest = cKDTree(dots).query(at, distance_upper_bound=1.5 * _NEAR)
        met = np.isfinite(far)
        under[met] |= np.einsum("ij,ij->i", looks[met], outwards[nearest[met]]) < 0
    if not under.any():
        return unit, 0.0
    ways = np.vstack([unit, spread_directions(_WAYS)])
    held = np.maximum(ways @ looks[under].T, 0.0).mean(axis=1)
    best = int(np.argmin(held + _ASKED_FOR * (1 - ways @ unit)))
    return ways[best], float(held[best])


def _spread(mesh: Mesh, count: int) -> tuple[Vectors, Vectors]:
    """Places spread evenly over a mesh, and the way it looks there."""
    chosen, shares = places_over(mesh, count)
    corners = mesh.vertices.take(mesh.triangles.take(chosen, axis=0), axis=0)
    return np.einsum("nc,nci->ni", shares, corners), triangle_normals(mesh).take(chosen, axis=0)
