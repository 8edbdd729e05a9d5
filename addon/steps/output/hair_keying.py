"""Keying hair, as a part of its own, to the head or to what was parted off it."""

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from ...geometry.errors import NotPossible
from ...geometry.measures import components
from ...geometry.progress import Progress
from ..workpiece import Workpiece
from .partings import hair_from, lift_remarks

if TYPE_CHECKING:
    from ...geometry.solids.pins import Pinned, Pins

_TOLD = 0.05
"""Per cent of the hair from which a trimming is told."""
_LOST = 1.0
"""Millimetres from what is left of the hair from which what was trimmed is more than its inner side: a lock went whole.
Hair at 1/6 is mostly thinner; a judgement of ours."""
UPWARDS = np.array([0.0, 0.0, 1.0])


def hair_keyed(
    piece: Workpiece,
    path: str,
    name: str,
    way: NDArray[np.float64] | None,
    pins: "Pins",
    shortest: float | None,
    room: float | None,
    progress: Progress,
) -> Workpiece:
    """The workpiece whose hair stands on pins in the head, or in the part most of it lies on.

    Parameters
    ----------
    piece : with its head, and the parts that were parted off it
    path : mesh of the hair in the capture's coordinates; empty: the part `name` that is there
    name : what the hair is called as a part
    way : (3,) direction in which it comes off; None: upwards, or near it where less of its under side holds it
    pins : their shape
    shortest, room : as `pinned_on` has them
    """
    from ...geometry.solids.pinned_on import pinned_on
    from ...geometry.solids.way_off import way_off

    keyed = [done.figures.get("part") for done in piece.history if done.name == "key"]
    if not path and name in keyed:
        raise NotPossible(f"key: {name} is keyed already: start from fit-hair, or give its mesh (hair)")
    hair = hair_from(path, piece.frame) if path else piece.parts[name]
    others = [str(part) for part in keyed if part in piece.parts and part != name]
    solids = {"head": piece.needed_head(), **{part: piece.parts[part] for part in others}}
    if way is None:
        progress(0.0, "looking for the way it comes off")
        way, _ = way_off(hair, list(solids.values()), UPWARDS)
    unit = way / np.linalg.norm(way)
    beside = [solids[part] for part in others]
    seat, found = pinned_on(solids["head"], hair, unit, pins, progress.stretch(0.1, 0.8), beside, shortest, room)
    seated = list(solids)[seat]
    figures = {
        "part": name,
        "keyed_by": "pins",
        "keyed_to": seated,
        "cut_at_mm": found.feet.mean(axis=0).round(4).tolist(),
        "cut_up": unit.round(6).tolist(),
        "clearance_mm": pins.clearance,
        "trimmed_percent": 100 * found.trimmed,
        "trimmed_farthest_mm": found.farthest,
        **pin_figures(pins, found),
    }
    parts = {**piece.parts, name: found.above}
    if seated == "head":
        done = piece.but(head=found.below, parts=parts).measured(**figures)
    else:
        done = piece.but(parts={**parts, seated: found.below}).measured(**figures)
    if found.height < pins.height:
        done = done.noted(
            f"The pins of {name} are {found.height:.2f} mm long, not {pins.height:.2f}: what they stand in is too thin"
        )
    if 100 * found.trimmed >= _TOLD:
        done = done.noted(_trimmed_words(name, " and ".join(solids), found.trimmed, found.farthest))
    progress(0.8, "trying whether it lifts off")
    solids[seated] = found.below
    for each, solid in solids.items():
        for remark in lift_remarks(name, each, solid, found.above, unit):
            done = done.noted(remark)
    pieces = int(components(found.above).max()) + 1
    if pieces > 1:
        done = done.noted(f"{name} is in {pieces} pieces that do not hang together: join them, or pin each by itself")
    return done


def _trimmed_words(name: str, under: str, share: float, farthest: float) -> str:
    words = f"{name} reached under the {under}: {100 * share:.1f} % of it was trimmed inside so that it lifts off"
    if farthest < _LOST:
        return words
    advice = "give another way off (normal), or keep them (trim)"
    return f"{words}, and locks up to {farthest:.1f} mm long went whole: {advice}"


def pin_figures(pins: "Pins", found: "Pinned") -> dict[str, Any]:
    """What is told of pins as they were made."""
    return {
        "pins": len(found.feet),
        "pin_diameter_mm": pins.diameter,
        "pin_height_mm": found.height,
        "pin_wall_mm": found.wall,
        "pins_at_mm": found.feet.round(3).tolist(),
    }
