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
    from ...geometry.lifting.freeing import Free, Giving
    from ...geometry.solids.pins import Pinned, Pins

_TOLD = 0.05
"""Per cent of the hair from which a trimming is told."""
_TAKEN = 0.05
"""Cubic millimetres from which a relief is told."""
_LOST = 1.0
"""Millimetres from what is left of the hair from which what was trimmed is more than its inner side: a lock went whole.
Hair at 1/6 is mostly thinner; a judgement of ours."""
UPWARDS = np.array([0.0, 0.0, 1.0])
EAR_TO_EAR = np.array([1.0, 0.0, 0.0])


def hair_keyed(
    piece: Workpiece,
    path: str,
    name: str,
    way: NDArray[np.float64] | None,
    pins: "Pins",
    shortest: float | None,
    giving: "Giving",
    progress: Progress,
) -> Workpiece:
    """The workpiece whose hair stands on pins in the head, or in the part most of it lies on.

    Parameters
    ----------
    piece : with its head, and the parts that were parted off it
    path : mesh of the hair in the capture's coordinates; empty: the part `name` that is there
    name : what the hair is called as a part
    way : (3,) direction in which it comes off; None: upwards, or tilted from it where less of it is caught
    pins : their shape
    shortest : as `pinned_on` has it
    giving : what gives way where the hair reaches under what it lies on
    """
    from ...geometry.lifting.freeing import cut_free, set_free
    from ...geometry.lifting.way_off import way_off
    from ...geometry.solids.pinned_on import pinned_on

    keyed = [done.figures.get("part") for done in piece.history if done.name == "key"]
    if not path and name in keyed:
        raise NotPossible(f"key: {name} is keyed already: start from fit-hair, or give its mesh (hair)")
    hair = hair_from(path, piece.frame) if path else piece.parts[name]
    others = [str(part) for part in keyed if part in piece.parts and part != name]
    solids = {"head": piece.needed_head(), **{part: piece.parts[part] for part in others}}
    lain = list(solids.values())
    if way is None:
        progress(0.0, "looking for the way it comes off")
        way, _ = way_off(hair, lain, UPWARDS, giving.wall if giving.relieved else None, EAR_TO_EAR)
    unit = way / np.linalg.norm(way)
    progress(0.1, "cutting it free")
    free = set_free(cut_free(hair, lain, unit), lain, unit, giving, progress.stretch(0.2, 0.6))
    head, *beside = free.relief.solids
    seat, found = pinned_on(head, free.part, unit, pins, progress.stretch(0.6, 0.8), beside, shortest)
    solids = dict(zip(solids, free.relief.solids, strict=True))
    seated = list(solids)[seat]
    figures = {
        "part": name,
        "keyed_by": "pins",
        "keyed_to": seated,
        "cut_at_mm": found.feet.mean(axis=0).round(4).tolist(),
        "cut_up": unit.round(6).tolist(),
        "clearance_mm": pins.clearance,
        **_giving_figures(free),
        **pin_figures(pins, found),
    }
    solids[seated] = found.below
    parts = {**piece.parts, **solids, name: found.above}
    done = piece.but(head=parts.pop("head"), parts=parts).measured(**figures)
    if found.height < pins.height:
        done = done.noted(
            f"The pins of {name} are {found.height:.2f} mm long, not {pins.height:.2f}: what they stand in is too thin"
        )
    for remark in _giving_words(name, " and ".join(solids), free):
        done = done.noted(remark)
    progress(0.8, "trying whether it lifts off")
    for each, solid in solids.items():
        for remark in lift_remarks(name, each, solid, found.above, unit):
            done = done.noted(remark)
    pieces = int(components(found.above).max()) + 1
    if pieces > 1:
        done = done.noted(f"{name} is in {pieces} pieces that do not hang together: join them, or pin each by itself")
    return done


def _giving_figures(free: "Free") -> dict[str, Any]:
    """What is told of how it was made free."""
    relief = free.relief
    figures: dict[str, Any] = {
        "trimmed_percent": 100 * free.trimmed,
        "trimmed_lost_mm": free.lost,
        "relieved_mm3": relief.taken,
        "relieved_deepest_mm": relief.deepest,
    }
    if relief.thinnest is not None:
        figures |= {"relieved_wall_mm": relief.wall, "relieved_thinnest_at_mm": relief.thinnest.round(2).tolist()}
    if free.thinnest is not None:
        figures |= {"trimmed_thin_mm2": free.thin, "trimmed_thinnest_at_mm": free.thinnest.round(2).tolist()}
    return figures


def _giving_words(name: str, under: str, free: "Free") -> list[str]:
    """What was done where it reached under what it lies on."""
    words, relief = [], free.relief
    if relief.taken >= _TAKEN:
        told = (
            f"{name} reaches under the {under}, which {'was' if ' and ' not in under else 'were'} relieved where it "
            f"covers them: {relief.taken:.1f} mm³, {relief.deepest:.2f} mm deep at most"
        )
        if relief.thinnest is not None:
            told += f"; {relief.wall:.2f} mm of wall are left at ({', '.join(f'{x:.1f}' for x in relief.thinnest)})"
        words.append(told)
    if 100 * free.trimmed >= _TOLD:
        share = f"{100 * free.trimmed:.1f} %"
        told = f"{name} reached under the {under}: {share} of it was trimmed inside so that it lifts off"
        if free.lost >= _LOST:
            told += (
                f", and locks up to {free.lost:.1f} mm long went whole: give another way off (normal), "
                "or keep them (trim)"
            )
        words.append(told)
    return words


def pin_figures(pins: "Pins", found: "Pinned") -> dict[str, Any]:
    """What is told of pins as they were made."""
    return {
        "pins": len(found.feet),
        "pin_diameter_mm": pins.diameter,
        "pin_height_mm": found.height,
        "pin_wall_mm": found.wall,
        "pins_at_mm": found.feet.round(3).tolist(),
    }
