"""The direction in which a part that lies on others comes off with least in its way."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ..directions import spread_directions
from ..distances.rays import RayCaster
from ..distances.rough_distance import RoughDistance
from ..distances.sampling import places_over
from ..measures import area, triangle_normals
from ..mesh import Mesh
from ..transforms import rotation
from .covering import covered, near

_NEAR = 0.3
"""Millimetres within which a place of the part is taken to lie on what is under it."""
_PLACES, _WAYS = 20_000, 2_000
_ASKED_FOR = 0.02
"""What turning square to the direction asked for counts, over the whole under side pushing straight against what it
lies on: so that of ways as good as each other the nearest is taken; a judgement of ours, no source."""
_WORTH = 0.002
"""By how much another way has to be better than the one asked for: what so many places leave in doubt."""
_TILTS = np.arange(2.5, 75.1, 2.5).tolist()  # degrees
_TRIED, _TRIED_AT = 60, 2_000
"""How many of the ways that push least are tried, and at how many places of the part."""
_WORSE = 0.06
"""By how much more a way may push than the best to be tried."""
_RELIEVED = 0.04
"""What a place that the solids can give way to counts, over one that has to be trimmed: nobody sees it; a judgement of
ours."""
_BARELY = 1e-3  # mm of the way at which a ray begins
Vectors = NDArray[np.float64]


def way_off(
    part: Mesh, solids: Sequence[Mesh], wanted: Vectors, wall: float | None = None, tilting: Vectors | None = None
) -> tuple[Vectors, float]:
    """The way a part comes off, least of it caught under what it lies on.

    Parameters
    ----------
    part, solids : closed meshes; the part lies on the solids
    wanted : (3,) a direction that is taken where others are no better
    wall : where given, the solids may give way under the part while so much of them is left, millimetres
    tilting : (3,) where given, an axis about which ways tilted from that direction are tried besides, and liked

    Returns
    -------
    way : (3,) unit vector
    held : share, from 0 to 1, of the under side that pushes against the solids along it, each place by its slope

    Notes
    -----
    Ways on which the under side pushes least are found first, from its slopes alone. Of those each is tried with rays:
    what of the part meets a solid on its way, and whether that comes in or out through faces that are seen, or leaves
    too little of a wall.
    """
    unit = np.asarray(wanted, dtype=np.float64) / np.linalg.norm(wanted)
    under = _under(part, solids)
    if not len(under):
        return unit, 0.0
    ways = np.vstack([_tilted(unit, tilting), spread_directions(_WAYS)])
    held = np.maximum(ways @ under.T, 0.0).mean(axis=1)
    liked = _ASKED_FOR * (1 - ways @ unit)
    liked[1:] += _WORTH
    if tilting is not None:
        liked += _ASKED_FOR * np.abs(ways @ tilting) / np.linalg.norm(tilting)
    good = np.flatnonzero(held + liked <= (held + liked).min() + _WORSE)
    tried = np.union1d(good[good < len(ways) - _WAYS], good[:: max(1, len(good) // _TRIED)])
    cost = _caught(part, solids, ways[tried], wall) + liked[tried]
    best = int(tried[np.argmin(cost)])
    return ways[best], float(held[best])


def _tilted(unit: Vectors, axis: Vectors | None) -> Vectors:
    """(n, 3) a direction, and where there is an axis the same tilted about it, either way."""
    if axis is None:
        return unit[None]
    turns = [0.0, *_TILTS, *(-each for each in _TILTS)]
    return np.array([rotation(axis, np.radians(turn)) @ unit for turn in turns], dtype=np.float64)


def _under(part: Mesh, solids: Sequence[Mesh]) -> Vectors:
    """(n, 3) the way the part looks at places spread over its under side."""
    from scipy.spatial import cKDTree

    at, looks = _spread(part, _PLACES)
    under = np.zeros(len(at), bool)
    for solid in solids:
        dots, outwards = _spread(solid, int(np.clip(4 * area(solid) / _NEAR**2, 1, 200_000)))
        far, nearest = cKDTree(dots).query(at, distance_upper_bound=1.5 * _NEAR)
        met = np.isfinite(far)
        under[met] |= np.einsum("ij,ij->i", looks[met], outwards[nearest[met]]) < 0
    found: Vectors = looks[under]
    return found


def _caught(part: Mesh, solids: Sequence[Mesh], ways: Vectors, wall: float | None) -> NDArray[np.float64]:
    """(k,) the share of the part that meets the solids on each way; less where they can give way."""
    at, _ = _spread(part, _TRIED_AT)
    starts = np.tile(at, (len(ways), 1))
    along = np.repeat(ways, len(at), axis=0)
    starts += _BARELY * along
    counts = np.zeros(len(starts))
    for solid in solids:
        beside = [other for other in solids if other is not solid]
        counts = np.maximum(counts, _counted(solid, part, starts, along, wall, beside))
    return np.asarray(counts.reshape(len(ways), -1).mean(axis=1))


def _counted(
    solid: Mesh, part: Mesh, starts: Vectors, along: Vectors, wall: float | None, beside: Sequence[Mesh]
) -> NDArray[np.float64]:
    """(n,) what each ray counts: nothing where it does not meet the solid, 1 where the part would be trimmed."""
    caster = RayCaster(solid)
    enters, into = caster.first_hit(starts, along)
    met = np.flatnonzero(np.isfinite(enters))
    counts = np.zeros(len(starts))
    counts[met] = 1.0
    if wall is None or not len(met):
        return counts
    leaves, out = caster.first_hit(starts[met], along[met], leaving=True)
    about = near(solid, part.vertices, 4 * wall)
    seen = ~covered(solid, part, about, beside)
    middle = starts[met] + 0.5 * (enters[met] + leaves)[:, None] * along[met]
    bare = solid.kept(about & seen)
    tight = (
        RoughDistance(bare, wall / 2).query(middle, wall) < wall if len(bare.triangles) else np.zeros(len(met), bool)
    )
    counts[met] = np.where(seen[into[met]] | seen[out] | tight, 1.0, _RELIEVED)
    return counts


def _spread(mesh: Mesh, count: int) -> tuple[Vectors, Vectors]:
    """Places spread evenly over a mesh, and the way it looks there."""
    chosen, shares = places_over(mesh, count)
    corners = mesh.vertices.take(mesh.triangles.take(chosen, axis=0), axis=0)
    return np.einsum("nc,nci->ni", shares, corners), triangle_normals(mesh).take(chosen, axis=0)
