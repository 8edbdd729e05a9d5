"""In which order the parts go together, told from the parts there are and how they were made."""

from collections.abc import Mapping, Sequence
from typing import Any

_NECK = {
    "peg": "Try the peg{size} in the body, and take it down with fine paper rather than force it.",
    "cup": "Snap the head on its ball{size} once it is fully cured, warm rather than cold.",
    "magnet": "Glue the magnet{size} into the neck, its poles tried against the body first.",
}

_PLUGS = {
    "straight": "Press {plugs} into the vents, each into its own, turned so that the skin runs on, and glue.",
    "taper": "Push {plugs} into the vents, each into its own, turned so that the skin runs on: "
    "they widen outwards, sit by themselves and cannot fall in.",
    "lip": "Lay {plugs} into the vents, each into its own, turned so that the skin runs on, "
    "the lip into its recess, and glue.",
}


def assembly(figures: Mapping[str, Any]) -> list[str]:
    """Sentences in the order of the work.

    Parameters
    ----------
    figures : what `report.report` gives

    Returns
    -------
    One sentence a move, from washing to the body.
    """
    names = [part["name"] for part in figures["parts"]]
    eyes, domes, rings, caps, plugs, hair = _kinds(names)
    order = numbers(names)

    def _and(some: Sequence[str]) -> str:
        """Names with their numbers in the picture."""
        told = [f"{name} ({order[name]})" for name in some]
        return " and ".join([", ".join(told[:-1]), told[-1]] if len(told) > 1 else told)

    orders = ["Take off the supports, open and clear the vents, then wash, dry and cure every part, inside too."]
    if domes:
        orders.append(f"Paint the irises, then set {_and(domes)} over them.")
    if eyes:
        orders.append(f"Paint {_and(eyes)} and the rims of the lids before anything is closed.")
        orders.append(
            f"Seat {_and(eyes)} {_way(figures, _and(caps))}, turn the gaze, and hold them with a little soft putty."
        )
    if rings:
        orders.append(f"Press {_and(rings)} in behind the eyes as far as they go, hollow side to the eye, and glue.")
    orders += [f"Try {_and([name])} dry: it goes on one way only. Glue it when the eyes sit right." for name in caps]
    if plugs:
        orders.append(_PLUGS[_settings(figures, "vent").get("plugs", "straight")].format(plugs=_and(plugs)))
    keyed = {each.get("figures", {}).get("part") for each in figures["steps"] if each["name"] == "key"}
    orders += [
        f"Try {_and([name])} dry{': its pins go in one way only' if name in keyed else ''}. Glue it last."
        for name in hair
    ]
    neck = _settings(figures, "neck").get("kind")
    if neck in _NECK:
        orders.append(_NECK[neck].format(size=_joint_size(figures)))
    return orders


def numbers(names: Sequence[str]) -> dict[str, int]:
    """Part's name to its number in the order in which the parts go together, the head first."""
    ordered = [name for name in ("head",) if name in names]
    return {name: row for row, name in enumerate([*ordered, *(each for kind in _kinds(names) for each in kind)], 1)}


def _kinds(names: Sequence[str]) -> tuple[list[str], ...]:
    """Eyes, domes, rings they rest on, what closes the head, plugs, and hair, which lies over all of them."""
    eyes, domes, rings, plugs, hair = (
        [name for name in names if name.startswith(kind)] for kind in ("eye-", "dome-", "seat-", "plug", "hair")
    )
    known = {"head", *eyes, *domes, *rings, *plugs, *hair}
    return eyes, domes, rings, [name for name in names if name not in known], plugs, hair


def _way(figures: Mapping[str, Any], caps: str) -> str:
    """Where the eyes go in."""
    if _settings(figures, "carve-sockets").get("entry") == "front":
        return "from the front, between the lids"
    return f"from behind, through the head opened at {caps}" if caps else "from behind, through the hollow"


def _joint_size(figures: Mapping[str, Any]) -> str:
    """What the peg, the ball or the magnet measures, in brackets; nothing where an earlier version did not tell."""
    told: Mapping[str, Any] = next(
        (each.get("figures", {}) for each in reversed(figures["steps"]) if each["name"] == "neck"), {}
    )
    if "peg_diameter_mm" in told:
        hole = told.get("hole_diameter_mm", told["peg_diameter_mm"])
        return f" ({told['peg_diameter_mm']:.2f} mm, for a hole of {hole:.2f} mm)"
    if "ball_diameter_mm" in told:
        return f" ({told['ball_diameter_mm']:.2f} mm)"
    if "magnet_mm" in told:
        return f" ({told['magnet_mm']:.2f} mm wide, its bore {told['bore_depth_mm']:.2f} mm deep)"
    return ""


def _settings(figures: Mapping[str, Any], step: str) -> Mapping[str, Any]:
    """How the step was set the last time it was run; nothing where it was not."""
    found: Mapping[str, Any] = {}
    for each in figures["steps"]:
        if each["name"] == step:
            found = each["settings"]
    return found
