"""A part that lies on a solid, such as hair on a head, keyed to it by pins in holes."""

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt

from .booleans import difference, union
from .errors import NotPossible
from .mesh import Mesh
from .pins import SEAM, Pinned, Pins, bearings, best_place, holes_of, needs_room, root_of
from .progress import SILENT, Progress
from .rays import RayCaster
from .sections import Plane, plane
from .transforms import transform
from .trimming import largest_piece

_ACROSS = 200  # places tried along the longer side
_TOUCHING = 0.3
"""Millimetres under the part within which the solid has to begin for a pin to go across."""
_OVER_ROOT = 0.2
"""Least of the part left over a pin's root, mm, so that it does not show."""
_STEEPEST = np.tan(np.radians(50.0))
"""Slope of the ground, against the way, up to which a pin stands on it; on steeper ground it would be all flank."""
Vectors = NDArray[np.float64]


def pinned_on(solid: Mesh, part: Mesh, way: Vectors, pins: Pins, progress: Progress = SILENT) -> Pinned:
    """Cut the part free of the solid and set pins under it, holes into the solid.

    Parameters
    ----------
    solid, part : closed meshes; the part lies on the solid and may reach into it
    way : (3,) direction in which the part comes off
    pins : their shape; `bearing` is measured from the sitter's left

    Returns
    -------
    Pinned: `below` is the solid with its holes, `above` the part with its pins.

    Raises
    ------
    NotPossible
        The part does not lie on the solid, or there is no room for the pins.
    """
    unit = way / np.linalg.norm(way)
    progress(0.0, "cutting the part free")
    free = largest_piece(difference(part, solid.moved(transform(np.eye(3), SEAM * unit))))
    if not len(free.triangles):
        raise NotPossible("nothing of the part lies outside of what it is put on")
    progress(0.4, "looking for room for the pins")
    frame = plane(free.vertices.mean(axis=0), unit)
    flat, deep, feet = _room(solid, free, frame, pins)
    if not (deep > 0).any():
        raise NotPossible(
            f"the part does not lie on anything thick enough for pins {pins.height:g} mm long: "
            "take shorter ones, or a thicker part"
        )
    flat_middle = flat[deep > 0].mean(axis=0)
    chosen = _chosen(flat - flat_middle, deep, pins)
    needs_room(flat[chosen], deep[chosen], pins)
    progress(0.7, "setting the pins")
    peg = pins.peg
    places = [_at(frame, foot) for foot in feet[chosen]]
    above = union(free, *(peg.solid(root_of(pins)).moved(place) for place in places))
    below = difference(solid, *(hole.moved(place) for place in places for hole in holes_of(peg, pins)))
    wall = float(deep[chosen].min()) - pins.diameter / 2 - pins.clearance
    return Pinned(below, above, feet[chosen], wall)


def _room(solid: Mesh, part: Mesh, frame: Plane, pins: Pins) -> tuple[Vectors, NDArray[np.float64], Vectors]:
    """Places on a grid across the way: (n, 2) in the frame, (n,) how far from where a pin finds too little material
    above or below it, and (n, 3) where the part and the solid meet there.
    """
    spread = frame.flat(part.vertices)
    low, high = spread.min(axis=0), spread.max(axis=0)
    step = float((high - low).max()) / _ACROSS
    counts = np.ceil((high - low) / step).astype(int) + 1
    rows, columns = np.indices(counts).reshape(2, -1)
    flat = low + step * np.column_stack([rows, columns])
    top = float(np.maximum(frame.heights(part.vertices).max(), frame.heights(solid.vertices).max())) + 1.0
    starts, down = frame.placed(flat) + top * frame.up, np.broadcast_to(-frame.up, (len(flat), 3))
    over, under = RayCaster(part), RayCaster(solid)
    into, out = over.first_hit(starts, down)[0], over.first_hit(starts, down, leaving=True)[0]
    met, far = under.first_hit(starts, down)[0], under.first_hit(starts, down, leaving=True)[0]
    with np.errstate(invalid="ignore"):  # rays that meet nothing are infinite on both sides
        good = np.isfinite(out) & np.isfinite(far) & (np.abs(met - out) < _TOUCHING)
        good &= out - into > root_of(pins) + _OVER_ROOT
        good &= far - met > pins.height + pins.clearance + pins.wall
        rise = np.hypot(*np.gradient(np.where(np.isfinite(met), met, -1e3).reshape(counts), step)).ravel()
        good &= rise < _STEEPEST
    deep = distance_transform_edt(np.pad(good.reshape(counts), 1))[1:-1, 1:-1].ravel() * step
    return flat, np.asarray(deep, np.float64), starts - np.where(good, out, 0.0)[:, None] * frame.up


def _chosen(flat: Vectors, deep: NDArray[np.float64], pins: Pins) -> list[int]:
    """The rows of the places where the pins stand, one about each bearing."""
    chosen = []
    for bearing in bearings(pins):
        ahead = flat @ np.array([np.cos(bearing), np.sin(bearing)])
        near = (ahead > 0) & (ahead > np.cos(np.pi / (3 * pins.count)) * np.linalg.norm(flat, axis=1)) & (deep > 0)
        rows = np.flatnonzero(near)
        if not len(rows):
            raise NotPossible("the part does not lie all round on what it is put on: take fewer pins, or another way")
        chosen.append(int(rows[best_place(flat[rows], deep[rows], pins)]))
    return chosen


def _at(frame: Plane, foot: NDArray[np.float64]) -> NDArray[np.float64]:
    """(4, 4) from a pin's own frame, hanging from z = 0, to its place."""
    matrix = frame.matrix.copy()
    matrix[:3, 3] = foot
    return matrix
