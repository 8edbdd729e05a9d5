"""In which order the parts go together, told from the parts there are and how they were made."""

from collections.abc import Mapping, Sequence
from typing import Any

_NECK = {
    "peg": "Try the peg in the body, and take it down with fine paper rather than force it.",
    "cup": "Snap the head on its ball once it is fully cured, warm rather than cold.",
    "magnet": "Glue the magnet into the neck, its poles tried against the body first.",
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
    eyes = [name for name in names if name.startswith("eye-")]
    domes = [name for name in names if name.startswith("dome-")]
    plugs = [name for name in names if name.startswith("plug")]
    caps = [name for name in names if name not in {"head", *eyes, *domes, *plugs}]
    orders = ["Take off the supports, open and clear the vents, then wash, dry and cure every part, inside too."]
    if domes:
        orders.append(f"Paint the irises, then set {_and(domes)} over them.")
    if eyes:
        orders.append(f"Paint {_and(eyes)} and the rims of the lids before anything is closed.")
        orders.append(
            f"Seat {_and(eyes)} {_way(figures, caps)}, turn the gaze, and hold them with a little soft putty."
        )
    orders += [f"Try {name} dry: it goes on one way only. Glue it when the eyes sit right." for name in caps]
    if plugs:
        orders.append(f"Set {_and(plugs)} into the vents, flush with the skin.")
    neck = _settings(figures, "neck").get("kind")
    if neck in _NECK:
        orders.append(_NECK[neck])
    return orders


def _way(figures: Mapping[str, Any], caps: Sequence[str]) -> str:
    """Where the eyes go in."""
    if _settings(figures, "carve-sockets").get("entry") == "front":
        return "from the front, between the lids"
    return f"from behind, through the head opened at {_and(caps)}" if caps else "from behind, through the hollow"


def _settings(figures: Mapping[str, Any], step: str) -> Mapping[str, Any]:
    """How the step was set the last time it was run; nothing where it was not."""
    found: Mapping[str, Any] = {}
    for each in figures["steps"]:
        if each["name"] == step:
            found = each["settings"]
    return found


def _and(names: Sequence[str]) -> str:
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)
