"""How the new surface of a pair of lids is divided: spokes from the middle of the fissure, rings about its margin.

Places and angles are those of the plane that `lid_form` lays the lids out on.
"""

import numpy as np
from numpy.typing import NDArray

from ..geometry.angles import arc_tangent
from ..geometry.errors import NotPossible
from .lid_form import LAYOUT, LidForm

SPOKES = 260
"""Spokes of the new surface, at even steps along the margin: a quarter of a millimetre."""

_INNER_RINGS = np.array([0.12, 0.3, 0.5, 0.7, 0.84, 0.93, 0.98])
_EDGE_RINGS = np.array([-0.55, -0.4, -0.2, 0.0, 0.2, 0.4, 0.52, 0.6, 0.7, 0.85, 1.0, 1.2, 1.5])  # mm about the margin
_OUTER_RINGS = 44
_SEAM = 0.6  # mm between the last ring and the patch's edge, for the seam
_LOWER_PLATE, _CORNER_PLATE = 4.5, 1.2  # mm beyond the margin that are wholly new
_OVER_CREASE = 0.8


def spokes(form: LidForm) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Turn of each spoke, rising from 0, and the angle at which it meets the margin."""
    angles = np.linalg.norm(form.margin, axis=1) / LAYOUT
    turns = np.unwrap(arc_tangent(form.margin[:, 1], form.margin[:, 0]))
    if turns[-1] < turns[0]:
        turns, angles = turns[::-1], angles[::-1]
    steps = np.diff(turns)
    if (steps <= 0).any() or not np.pi < turns[-1] - turns[0] < 2 * np.pi:
        raise NotPossible("the lid margins bend back on themselves: check the landmarks of the lids")
    start = int(np.argmin(turns % (2 * np.pi)))
    return np.asarray(np.roll(turns, -start) % (2 * np.pi)), np.roll(angles, -start)


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
    around: NDArray[np.float64], outward: NDArray[np.float64], at_margin: NDArray[np.float64], edge: NDArray[np.float64]
) -> NDArray[np.float64]:
    """(r, k, 2) places of each ring on each spoke: fine about the margin, wide and even towards the edge."""
    margin_ways = np.column_stack([np.cos(around), np.sin(around)])
    edge_ways = np.column_stack([np.cos(outward), np.sin(outward)])
    near = (LAYOUT * at_margin + _EDGE_RINGS[:, None])[..., None] * margin_ways
    last = (LAYOUT * edge - _SEAM)[:, None] * edge_ways
    share = np.linspace(0.0, 1.0, _OUTER_RINGS + 1)[1:, None, None]
    return np.concatenate([_INNER_RINGS[:, None, None] * near[0], near, near[-1] + share * (last - near[-1])])


def ways_to(places: NDArray[np.float64], frame: NDArray[np.float64]) -> NDArray[np.float64]:
    """(..., 3) unit vectors to (..., 2) places on the plane."""
    off = np.maximum(np.linalg.norm(places, axis=-1, keepdims=True), 1e-12)
    angles = off / LAYOUT
    return np.asarray(np.concatenate([np.sin(angles) * places / off, np.cos(angles)], axis=-1) @ frame)
