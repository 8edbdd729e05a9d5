"""What each step looks at and what it changes, so that it can be told which steps a change makes stale.

The kinds are those of a workpiece: its scan, head, skin, landmarks, frame (how it is posed), scale, eyes, parts, and of
the parts the hair, which is made by itself.
"""

from collections.abc import Mapping
from typing import Any

ALL = frozenset({"scan", "head", "skin", "landmarks", "frame", "scale", "eyes", "parts", "hair"})
_NOTHING: frozenset[str] = frozenset()
_SCAN = frozenset({"scan"})
_SURFACE = frozenset({"scan", "head", "skin"})
_ON_SKIN = frozenset({"head", "landmarks", "frame", "scale"})

READS: dict[str, frozenset[str]] = {
    "load": _NOTHING,
    "assess": _SCAN,
    "register": _SCAN,
    "cull-strays": _SCAN,
    "cull-lashes": _SCAN,
    "merge-layers": _SCAN,
    "denoise": _SCAN,
    "close": _SCAN,
    "patch": _SURFACE,
    "drop-islands": _SURFACE,
    "smooth": _SURFACE,
    "reduce": _SURFACE,
    "landmarks": _SURFACE,
    "pose": frozenset({"landmarks"}),
    "measure": _ON_SKIN,
    "scale": _NOTHING,
    "place-eyes": _ON_SKIN | {"scan"},
    "rebuild-lids": _ON_SKIN | {"eyes"},
    "carve-sockets": _ON_SKIN - {"landmarks"} | {"eyes"},
    "make-eyes": frozenset({"head", "eyes", "frame", "scale"}),
    "fit-base": _ON_SKIN - {"head"} | {"skin", "scan"},
    "relief": _ON_SKIN,
    "fit-hair": _ON_SKIN | {"hair"},
    "brows": _ON_SKIN | {"scan"},
    "neck": _ON_SKIN,
    "hollow": frozenset({"head", "skin", "eyes", "frame", "scale"}),
    "key": _ON_SKIN | {"eyes", "hair"},
    "vent": frozenset({"head", "parts", "hair", "frame", "scale"}),
    "check": ALL - {"scan"},
    "export": frozenset({"head", "parts", "hair", "frame", "scale"}),
}
"""What a step looks at. What has nothing to do with a part it hands on is not listed: `key` keeps the eyes as they are.
"""
CHANGES: dict[str, frozenset[str]] = {
    "load": ALL,
    "assess": _NOTHING,
    "register": _SCAN,
    "cull-strays": _SCAN,
    "cull-lashes": _SCAN,
    "merge-layers": _SCAN,
    "denoise": _SCAN,
    "close": frozenset({"head", "skin"}),
    "patch": _SURFACE,
    "drop-islands": _SURFACE,
    "smooth": _SURFACE,
    "reduce": _SURFACE,
    "landmarks": frozenset({"landmarks"}),
    "pose": frozenset({"frame"}),
    "measure": _NOTHING,
    "scale": frozenset({"scale"}),
    "place-eyes": frozenset({"eyes"}),
    "rebuild-lids": frozenset({"head", "eyes"}),
    "carve-sockets": frozenset({"head", "eyes"}),
    "make-eyes": frozenset({"parts"}),
    "fit-base": frozenset({"head", "skin"}),
    "relief": frozenset({"head"}),
    "fit-hair": frozenset({"hair"}),
    "brows": frozenset({"head"}),
    "neck": frozenset({"head"}),
    "hollow": frozenset({"head", "eyes"}),
    "key": frozenset({"head", "parts", "hair"}),
    "vent": frozenset({"head", "parts"}),
    "check": _NOTHING,
    "export": _NOTHING,
}
"""What a step makes different. To move and to scale all of it alike is the frame's and the scale's alone."""
HOME = {"landmarks": "landmarks", "eyes": "place-eyes", "head": "close"}
"""What is changed by hand to the step that makes it: only what comes after that in the order of the trade is stale."""


def reads(step: str, settings: Mapping[str, Any]) -> frozenset[str]:
    """What a step of that name has looked at, run with these settings."""
    if step == "scale" and settings.get("head_height"):
        return frozenset({"landmarks"})
    return READS[step]


def changes(step: str, settings: Mapping[str, Any]) -> frozenset[str]:
    """What a step of that name has changed, run with these settings."""
    if step == "make-eyes" and settings.get("form") == "fixed":  # made one with the head
        return CHANGES[step] | {"head"}
    return CHANGES[step]
