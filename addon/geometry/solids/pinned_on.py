"""A part that lies on a solid, such as hair on a head, keyed to it by pins in holes."""

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt

from ..distances.rays import RayCaster
from ..errors import NotPossible
from ..mesh import Mesh
from ..progress import SILENT, Progress
from .booleans import difference, union
from .pins import Pinned, Pins, bearings, best_place, holes_of, needs_room, root_of
from .sections import Plane, plane

_UNDER = 0.05
"""Millimetres under the ground from which the part over it is looked for: more than cutting it free leaves in doubt."""
_ACROSS = 200  # places tried along the longer side
_TOUCHING = 0.3
"""Millimetres under the part within which the solid has to begin for a pin to go across."""
_OVER_ROOT = 0.2
"""Least of the part left over a pin's root, mm, so that it does not show."""
_STEEPEST = np.tan(np.radians(50.0))
"""Slope of the ground, against the way, up to which a pin stands on it; on steeper ground it would be all flank."""
Vectors = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class _Lie:
    """How a part lies on solids, over places on a grid across the way: (n, 2) `flat` places in the `frame`, (n,) which
    of the solids comes first there, -1 where none lies right under the part; how thick the part is over it and the
    solid under it, the slope of the ground, millimetres; and (n, 3) where part and solid meet.
    """

    frame: Plane
    counts: tuple[int, int]
    step: float
    flat: Vectors
    seat: NDArray[np.int64]
    over: NDArray[np.float64]
    under: NDArray[np.float64]
    rise: NDArray[np.float64]
    feet: Vectors


def pinned_on(
    solid: Mesh,
    part: Mesh,
    way: Vectors,
    pins: Pins,
    progress: Progress = SILENT,
    beside: Sequence[Mesh] = (),
    shortest: float | None = None,
) -> tuple[int, Pinned]:
    """Set pins under the part, holes into the solid.

    Parameters
    ----------
    solid, part : closed meshes that share nothing; the part lies on the solid
    way : (3,) direction in which the part comes off
    pins : their shape; `bearing` is measured from the sitter's left
    beside : further solids that the part may lie on, such as a cap parted off a head
    shortest : where given, pins are made shorter, down to this, where what they stand in is thin; millimetres

    Returns
    -------
    seat : 0 for the solid, else one more than the number of the one beside it: the one that most of the part lies on
    Pinned : `below` is that solid with its holes, `above` the part with its pins

    Raises
    ------
    NotPossible
        The part does not lie on the solid, or there is no room for the pins.
    """
    solids = [solid, *beside]
    unit = way / np.linalg.norm(way)
    progress(0.0, "looking for room for the pins")
    lie = _lie(solids, part, plane(part.vertices.mean(axis=0), unit))
    lain = lie.seat[lie.seat >= 0]
    seat = int(np.bincount(lain).argmax()) if len(lain) else 0
    pins, places, wall = _places(lie, seat, pins, shortest)
    progress(0.5, "setting the pins")
    peg = pins.peg
    standing = [_at(lie.frame, foot) for foot in places]
    above = union(part, *(peg.solid(root_of(pins)).moved(place) for place in standing))
    below = difference(solids[seat], *(hole.moved(place) for place in standing for hole in holes_of(peg, pins)))
    return seat, Pinned(below, above, places, wall, pins.height)


def _places(lie: _Lie, seat: int, pins: Pins, shortest: float | None) -> tuple[Pins, Vectors, float]:
    """The pins as they are made, (k, 3) places of their feet, and the least wall left round their holes."""
    while True:
        try:
            deep = _room(lie, seat, pins)
            if not (deep > 0).any():
                raise NotPossible(
                    f"the part does not lie on anything thick enough for pins {pins.height:.2g} mm long: "
                    "take shorter ones, or a thicker part"
                )
            chosen = _chosen(lie.flat - lie.flat[deep > 0].mean(axis=0), deep, pins)
            needs_room(lie.flat[chosen], deep[chosen], pins)
        except NotPossible:
            shorter = 0.85 * pins.height
            if shortest is None or shorter < shortest:
                raise
            pins = dataclasses.replace(pins, height=shorter, lead=min(pins.lead, shorter / 4))
        else:
            return pins, lie.feet[chosen], float(deep[chosen].min()) - pins.diameter / 2 - pins.clearance


def _lie(solids: Sequence[Mesh], part: Mesh, frame: Plane) -> _Lie:
    spread = frame.flat(part.vertices)
    low, high = spread.min(axis=0), spread.max(axis=0)
    step = float((high - low).max()) / _ACROSS
    counts = np.ceil((high - low) / step).astype(int) + 1
    rows, columns = np.indices(counts).reshape(2, -1)
    flat = low + step * np.column_stack([rows, columns])
    top = max(float(frame.heights(each.vertices).max()) for each in solids) + 1.0
    starts, down = frame.placed(flat) + top * frame.up, np.broadcast_to(-frame.up, (len(flat), 3))
    casters = [RayCaster(each) for each in solids]
    met = np.array([caster.first_hit(starts, down)[0] for caster in casters])
    far = np.array([caster.first_hit(starts, down, leaving=True)[0] for caster in casters])
    first = np.argmin(met, axis=0)[None]
    ground, floor = (np.take_along_axis(each, first, axis=0)[0] for each in (met, far))
    there = np.isfinite(ground) & np.isfinite(floor)
    # From just under the ground up: so a lock that lies on it counts, whatever hangs over that.
    deep = np.where(there, ground, 0.0) + _UNDER
    under, caster = starts - deep[:, None] * frame.up, RayCaster(part)
    enters, leaves = (caster.first_hit(under, -down, leaving=each)[0] for each in (False, True))
    lies = there & (enters < _TOUCHING + _UNDER) & np.isfinite(leaves)
    feet = under + np.where(lies, enters, 0.0)[:, None] * frame.up
    rise = np.gradient(np.where(np.isfinite(ground), ground, -1e3).reshape(counts), step)
    return _Lie(
        frame=frame,
        counts=(int(counts[0]), int(counts[1])),
        step=step,
        flat=flat,
        seat=np.where(lies, first[0], -1),
        over=np.where(lies, leaves, 0.0) - np.where(lies, enters, 0.0),
        under=np.where(there, floor, 0.0) - np.where(there, ground, 0.0),
        rise=np.hypot(*rise).ravel(),
        feet=feet,
    )


def _room(lie: _Lie, seat: int, pins: Pins) -> NDArray[np.float64]:
    """(n,) how far each place is from where a pin finds too little material above or below it."""
    good = (lie.seat == seat) & (lie.rise < _STEEPEST)
    good &= lie.over > root_of(pins) + _OVER_ROOT
    good &= lie.under > pins.height + pins.clearance + pins.wall
    deep = distance_transform_edt(np.pad(good.reshape(lie.counts), 1))[1:-1, 1:-1].ravel() * lie.step
    return np.asarray(deep, np.float64)


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
