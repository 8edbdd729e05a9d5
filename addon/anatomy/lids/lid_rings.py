"""How the new surface of a pair of lids is divided: spokes from the middle of the fissure, rings about its margin.

Places and angles are those of the plane that `lid_form` lays the lids out on.
"""

import numpy as np
from numpy.typing import NDArray

from ...geometry.angles import arc_tangent
from ...geometry.errors import NotPossible
from .lid_corners import eased, square_ways
from .lid_form import LAYOUT, LidForm

SPOKES = 260
"""Spokes of the new surface, at even steps along the margin: a quarter of a millimetre."""

_INNER_RINGS = np.array([0.12, 0.3, 0.5, 0.7, 0.84, 0.93, 0.98])
_WALL = np.array([0.0, 0.2, 0.4, 0.6, 0.8, 1.0])  # shares of the way up the wall round what shows of the eye
_FILLED = np.linspace(0.0, 1.0, 9)[1:]  # shares of the way over what fills a corner
_FILLED_RIM = 0.3  # mm: how wide those rings are on the lids, where nothing is filled
_FRONT = np.array([0.36, 0.44, 0.54, 0.66, 0.8, 0.95, 1.15, 1.4])  # mm past the wall, or past the margin less `_BEFORE`
_BEFORE = 0.6
_OUTER_RINGS = 44
_SEAM = 0.6  # mm between the last ring and the patch's edge, for the seam
_LOWER_PLATE, _CORNER_PLATE = 4.5, 1.2  # mm beyond the margin that are wholly new
_OVER_CREASE = 0.8


def spokes(form: LidForm) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Turn of each spoke, rising from 0, and which point of the margin it meets."""
    turns = np.unwrap(arc_tangent(form.margin[:, 1], form.margin[:, 0]))
    order = np.arange(len(turns))
    if turns[-1] < turns[0]:
        turns, order = turns[::-1], order[::-1]
    steps = np.diff(turns)
    if (steps <= 0).any() or not np.pi < turns[-1] - turns[0] < 2 * np.pi:
        raise NotPossible("the lid margins bend back on themselves: check the landmarks of the lids")
    start = int(np.argmin(turns % (2 * np.pi)))
    return np.asarray(np.roll(turns, -start) % (2 * np.pi)), np.roll(order, -start)


def plate_width(form: LidForm, places: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n,) how far beyond the margin the surface is wholly new."""
    share, up = form.along(places)
    across = np.clip((share - 0.5) / 0.62, -1.0, 1.0)
    middle = np.sqrt(np.maximum(1 - across**2, 0.0))
    tall = np.where(up > 0, form.crease_height + _OVER_CREASE, _LOWER_PLATE)
    return np.asarray(_CORNER_PLATE + (tall - _CORNER_PLATE) * middle * np.clip(np.abs(up) / 6.0, 0.0, 1.0))


def patch_edge(
    form: LidForm, around: NDArray[np.float64], at_margin: NDArray[np.float64], blend: float
) -> NDArray[np.float64]:
    """(k,) angle on each spoke where the patch ends."""
    angles = at_margin[:, None] + np.linspace(0.005, 0.35, 160)
    places = LAYOUT * angles[..., None] * np.column_stack([np.cos(around), np.sin(around)])[:, None]
    flat = places.reshape(-1, 2)
    done = (form.beyond(flat) > plate_width(form, flat) + blend + 0.6).reshape(angles.shape)
    first = np.where(done.any(axis=1), np.argmax(done, axis=1), angles.shape[1] - 1)
    edge = angles[np.arange(len(around)), first]
    return np.array([np.median(np.take(edge, np.arange(i - 4, i + 5), mode="wrap")) for i in range(len(edge))])


def evened_turns(
    form: LidForm, around: NDArray[np.float64], at_margin: NDArray[np.float64], blend: float
) -> NDArray[np.float64]:
    """(k,) turn each spoke has at the patch's edge: even steps along it, where the margin's crowd at the corners."""
    edge = patch_edge(form, around, at_margin, blend)
    places = edge[:, None] * np.column_stack([np.cos(around), np.sin(around)])
    along = np.append(0.0, np.cumsum(np.linalg.norm(np.diff(places, axis=0, append=places[:1]), axis=1)))
    steps = np.linspace(0.0, along[-1], len(around) + 1)[:-1]
    turns = np.append(around, around[0] + 2 * np.pi)
    lengths = np.concatenate([along[:-1] - along[-1], along, along[1:] + along[-1]])
    turns = np.concatenate([turns[:-1] - 2 * np.pi, turns, turns[1:] + 2 * np.pi])
    # Where to begin: there where the spokes lean least to either side.
    starts = np.linspace(-0.12, 0.12, 49) * along[-1]
    choices = [np.interp(steps + start, lengths, turns) for start in starts]
    return min(choices, key=lambda choice: float(np.ptp(choice - around) + 2 * abs(np.mean(choice - around))))


def ring_places(
    form: LidForm, order: NDArray[np.int64], outward: NDArray[np.float64], edge: NDArray[np.float64]
) -> NDArray[np.float64]:
    """(r, k, 2) places of each ring on each spoke: fine about the margin, wide and even towards the edge.

    The rings stand along the wall round what shows of the eye, spread over what fills the corners, and close up again
    about the margin; on the lids the two are one.
    """
    shown = form.shown
    curve, apart = shown.curve[order], shown.apart[order]
    foot, top = form.lean(curve)
    before = _BEFORE * eased(apart / 1.5)
    wall = curve + (_WALL[:, None] * (foot + top) - foot)[..., None] * shown.square[order]
    ways, beside = shown.outward[order], square_ways(form.margin, 5.0)[order]
    filled = wall[-1] + (_FILLED[:, None] * (_FILLED_RIM + apart - before))[..., None] * ways
    # Past the margin the spokes turn square to it, so that those along a long inner corner do not cross.
    past = (_FRONT - _FILLED_RIM)[:, None, None]
    turned = eased(past / 0.6)
    beside = ways + turned * (beside - ways)
    front = filled[-1] + past * beside / np.linalg.norm(beside, axis=2, keepdims=True)
    near = np.concatenate([wall, filled, front])
    last = (LAYOUT * edge - _SEAM)[:, None] * np.column_stack([np.cos(outward), np.sin(outward)])
    share = np.linspace(0.0, 1.0, _OUTER_RINGS + 1)[1:, None, None]
    return np.concatenate([_INNER_RINGS[:, None, None] * near[0], near, near[-1] + share * (last - near[-1])])


def ways_to(places: NDArray[np.float64], frame: NDArray[np.float64]) -> NDArray[np.float64]:
    """(..., 3) unit vectors to (..., 2) places on the plane."""
    off = np.maximum(np.linalg.norm(places, axis=-1, keepdims=True), 1e-12)
    angles = off / LAYOUT
    return np.asarray(np.concatenate([np.sin(angles) * places / off, np.cos(angles)], axis=-1) @ frame)
