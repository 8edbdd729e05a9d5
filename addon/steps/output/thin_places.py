"""What made a wall so thin, and so what to do about it: a vent, a socket, the parting, the neck's end, or the scan."""

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...geometry.distances.closest import ClosestPoint
from ...geometry.mesh import Mesh
from ..workpiece import Workpiece

_ON_SKIN = 0.01
"""Millimetres within which a place of a part is a place of the skin: cuts move what they leave by far less."""
MOVERS = ("scale", "pose")
"""Steps that move the head: what was measured before them lies elsewhere by now."""
VENT = (
    "a vent runs just under the skin: make vents narrower (diameter in vent), or move the neck's cut (raise_by, tilt)"
)
SOCKET = "the wall beside the socket: set the eye back (set_back in place-eyes), take a smaller one or less clearance"
PARTING = "the parting is near: a thicker wall in hollow, or a parting moved or tilted (raise_by, tilt in key)"
JOINT = "the neck's joint is near: a smaller diameter in neck, or a cut moved or tilted (raise_by, tilt)"
CUT = "the neck's cut runs through there: move or tilt it (raise_by, tilt in neck)"
SCANNED = "the head itself is so thin there, before any cut: print it larger, or build the place up"
HOLLOWED = "the hollow leaves so little: a thicker wall in hollow"
OTHER = "thicken the place"


def advice_on(
    piece: Workpiece, name: str, places: NDArray[np.float64], far_sides: NDArray[np.float64], least: float
) -> list[str]:
    """What to do about each thin place of a part, by what was cut next to it.

    Parameters
    ----------
    piece : with its history, eyes and skin, the head before anything was cut into it
    name : of the part
    places, far_sides : (n, 3) both ends of the way through the wall
    least : millimetres that a wall should have; what was cut no farther away made it thin
    """
    middles = (places + far_sides) / 2
    told = np.full(len(middles), OTHER, dtype=object)
    if any(done.name == "hollow" for done in piece.history):
        told[:] = HOLLOWED
    told[_on_skin(piece.skin, np.stack([places, far_sides], axis=1))] = SCANNED
    for advice, near in _cuts(piece, name, middles, least):
        told[near] = advice
    return [str(each) for each in told]


def _cuts(
    piece: Workpiece, name: str, middles: NDArray[np.float64], least: float
) -> Iterator[tuple[str, NDArray[np.bool_]]]:
    """What was cut, and which of (n, 3) places lie next to it; the more particular after the rest."""
    for done in _since_moved(piece):
        figures = done.figures
        if done.name == "neck" and name == "head" and "cut_at_mm" in figures:
            offset = middles - np.asarray(figures["cut_at_mm"], dtype=np.float64)
            yield CUT, np.abs(offset @ np.asarray(figures["cut_up"], dtype=np.float64)) <= least / 4
            yield JOINT, _by_joint(figures, middles, least)
        if done.name == "key" and "cut_at_mm" in figures and name in ("head", figures.get("part")):
            yield PARTING, _by_parting(figures, middles, least)
    for eye in piece.eyes if name == "head" else ():
        away = np.linalg.norm(middles - np.asarray(eye.centre), axis=1)
        yield SOCKET, np.abs(away - eye.pocket_radius) <= 2 * least
    for done in _since_moved(piece):
        for hole in done.figures.get("holes", ()) if done.name == "vent" else ():
            if hole["part"] == name:
                start = np.asarray(hole["at_mm"], dtype=np.float64)
                end = start - float(hole["length_mm"]) * np.asarray(hole["way"])
                yield VENT, _away(middles, start, end) <= float(hole["diameter_mm"]) / 2 + 1.5 * least


def _since_moved(piece: Workpiece) -> list[Any]:
    last = max((row for row, done in enumerate(piece.history) if done.name in MOVERS), default=-1)
    return list(piece.history[last + 1 :])


def _by_joint(figures: Any, middles: NDArray[np.float64], least: float) -> NDArray[np.bool_]:
    """Places about a peg, a cup or a bore: no farther from its axis than it is wide, no higher than it is deep."""
    offset = middles - np.asarray(figures["cut_at_mm"], dtype=np.float64)
    height = offset @ np.asarray(figures["cut_up"], dtype=np.float64)
    aside = np.linalg.norm(offset - height[:, None] * np.asarray(figures["cut_up"]), axis=1)
    sizes = [float(figures.get(key, 0.0)) for key in ("peg_diameter_mm", "cup_diameter_mm", "bore_diameter_mm")]
    depth = max(float(figures.get("bore_depth_mm", 0.0)), sizes[1], sizes[0] / 2)
    near: NDArray[np.bool_] = (aside <= max(sizes) / 2 + 4 * least) & (height <= depth + 2 * least)
    return near


def _by_parting(figures: Any, middles: NDArray[np.float64], least: float) -> NDArray[np.bool_]:
    """Places within the height of the spigot of a flat parting, or about the pins of any."""
    offset = middles - np.asarray(figures["cut_at_mm"], dtype=np.float64)
    near: NDArray[np.bool_] = np.zeros(len(middles), bool)
    if "spigot_mm" in figures:
        near = np.abs(offset @ np.asarray(figures["cut_up"])) <= float(figures["spigot_mm"]) + least
    for pin in figures.get("pins_at_mm", ()):
        reach = max(float(figures["pin_diameter_mm"]), float(figures["pin_height_mm"])) + least
        near = near | (np.linalg.norm(middles - np.asarray(pin), axis=1) <= reach)
    return near


def _away(places: NDArray[np.float64], start: NDArray[np.float64], end: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n,) distances from the straight line between two points."""
    along = end - start
    share = np.clip((places - start) @ along / max(float(along @ along), 1e-12), 0.0, 1.0)
    distance: NDArray[np.float64] = np.linalg.norm(places - start - share[:, None] * along, axis=1)
    return distance


def _on_skin(skin: Mesh | None, ends: NDArray[np.float64]) -> NDArray[np.bool_]:
    """(n,) whether both of (n, 2, 3) ends are the skin's own: an ear's rim, a curl, a crumb of the scan."""
    alone: NDArray[np.bool_] = np.zeros(len(ends), bool)
    if skin is None or not len(ends):
        return alone
    corners = skin.corners
    low, high = ends.min(axis=(0, 1)) - _ON_SKIN, ends.max(axis=(0, 1)) + _ON_SKIN
    near = ((corners.min(axis=1) <= high) & (corners.max(axis=1) >= low)).all(axis=1)
    if not near.any():
        return alone
    away = ClosestPoint(skin.kept(near)).query(ends.reshape(-1, 3), far=2 * _ON_SKIN)[0].reshape(-1, 2)
    alone |= away.max(axis=1) < _ON_SKIN
    return alone
