"""Where a hollow over a flat face, such as a neck's, is drained through that face: its lowest place beside a joint."""

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt, minimum_filter

from ..distances.rays import RayCaster
from ..mesh import Mesh
from ..solids.sections import plane
from .vents import Hole, Vector

_LEFT = 0.4
"""Millimetres left between the hole and whatever else opens in the face or bounds it: the least wall that prints."""
_FLAT = 0.05
"""Millimetres off its plane within which the face is the face, and of height by which a floor is no lower."""
_ROOMY = 0.1
"""How much higher a floor may be over the hole's middle for each millimetre farther from joint and skin."""
_STEPS = 6
"""Of the grid of rays within the hole's radius."""
_STEEPEST = 0.7  # cosine: a part that leans farther is not drained by its face
_SIDES = 8
_BARELY = 1e-3  # mm: less than any wall that prints


def floor_drain(
    mesh: Mesh, part: RayCaster, foot: Vector, axis: Vector, up: Vector, radius: float, joint: float
) -> Hole | None:
    """The hole from the lowest place of a hollow's floor straight through the flat face under it.

    Parameters
    ----------
    mesh, part : the part, hollow included, and the same to be met by rays
    foot, axis : (3,) a point of the face, the middle of the joint, and the unit vector from it into the part
    up : (3,) unit vector, the way up as it is printed
    radius : of the hole, millimetres
    joint : how far about the foot the part belongs to the joint, millimetres, though it may not open there

    Returns
    -------
    The hole; None where it has no room in the face beside the joint, or the face is not the part's lower end.

    Notes
    -----
    Rays go up through the face on a grid. The floor is as low as the lowest place the hole reaches to; of places as low
    as each other one is taken where it is low in the middle as well, and far from the joint and the skin.
    """
    if up @ axis < _STEEPEST:
        return None
    frame = plane(foot, axis)
    step = radius / _STEPS
    across, along = frame.matrix[:3, 0], frame.matrix[:3, 1]
    flat = mesh.vertices[np.abs(frame.heights(mesh.vertices)) < _FLAT] - foot
    count = int(np.ceil(np.linalg.norm(flat, axis=1).max(initial=0.0) / step)) + 2
    east, north = np.meshgrid(*2 * [step * np.arange(-count, count + 1)], indexing="ij")
    places = foot + east[..., None] * across + north[..., None] * along
    below = (places - axis).reshape(-1, 3)
    ways = np.broadcast_to(axis, below.shape)
    face = part.first_hit(below, ways)[0] - 1.0
    floor = part.first_hit(below, ways, leaving=True)[0] - 1.0
    met = np.isfinite(floor)
    ceiling = np.full(len(below), -np.inf)
    over = below[met] + (1.0 + floor[met, None] + _BARELY) * axis
    ceiling[met] = floor[met] + part.first_hit(over, ways[met])[0]
    free = (np.abs(face) < _FLAT).reshape(east.shape) & (np.hypot(east, north) > joint)
    room = step * distance_transform_edt(free)
    hollow = met & (ceiling - np.where(met, floor, 0.0) > 2 * radius)
    over = below[hollow] + (1.0 + floor[hollow, None] + radius / 2) * axis
    hollow[hollow] = _walled(part, over, across, along)  # else it is the open beside a neck that leans or spreads
    tops = np.where(hollow, (below + np.where(met, 1.0 + floor, 0.0)[:, None] * axis) @ up, np.inf)
    near = np.arange(-_STEPS, _STEPS + 1)
    lowest = minimum_filter(tops.reshape(east.shape), footprint=np.hypot(*np.meshgrid(near, near)) <= _STEPS)
    fits = (room >= radius + _LEFT) & hollow.reshape(east.shape)
    if not fits.any():
        return None
    good = fits & (lowest <= lowest[fits].min() + _FLAT)
    cost = tops.reshape(east.shape) - _ROOMY * room
    best = np.unravel_index(int(np.argmin(np.where(good, cost, np.inf))), east.shape)
    return Hole(places[best] + floor.reshape(east.shape)[best] * axis, places[best], radius)


def _walled(part: RayCaster, places: Vector, across: Vector, along: Vector) -> NDArray[np.bool_]:
    """(n,) which places have the part on all sides of them."""
    turns = np.linspace(0.0, 2 * np.pi, _SIDES, endpoint=False)
    sideways = np.cos(turns)[:, None] * across + np.sin(turns)[:, None] * along
    away, _ = part.first_hit(np.repeat(places, _SIDES, axis=0), np.tile(sideways, (len(places), 1)))
    walled = (away > _BARELY) & np.isfinite(away)  # a place on a wall itself is no floor
    return np.asarray(walled.reshape(-1, _SIDES).all(axis=1))
