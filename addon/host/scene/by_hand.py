"""What was changed by hand since steps looked at it: landmarks, eyes with their margins, the head's own surface.

A step reads all of it as it stands. That it was changed, and after which step, is kept with the collection, so that the
steps that had looked at it before are known to be stale.
"""

import functools
import json
import zlib
from collections.abc import Mapping
from typing import Any

import bpy
import numpy as np

from ...geometry.errors import BadMesh
from ...job import store
from ...steps.workpiece import Workpiece
from .roles import object_with
from .scene_marks import eye_by_hand, landmarks_by_hand

KEPT = "canthus_by_hand"
FORM = "canthus_form"
"""On a mesh: what its vertices were when it was written."""
HOME = {"landmarks": "landmarks", "eyes": "place-eyes", "head": "close"}
"""What is changed by hand to the step that makes it: only what comes after that in the order of the trade is stale."""
_OF = {"landmarks": ("landmarks",), "eyes": ("eyes", "openings")}
"""Kind to the facts of a record that tell of it."""


def keep(
    collection: bpy.types.Collection, recorded: Mapping[str, Any], read: Mapping[str, Any], made: Mapping[str, Any]
) -> None:
    """Keep what was changed by hand, before the record of the head is written anew.

    Parameters
    ----------
    recorded, read, made : the facts as they were written last, as the scene was read, and as they are to be written
    """
    done = steps_done(read)
    changed = {kind for kind, names in _OF.items() if any(recorded.get(each) != read.get(each) for each in names)}
    if len(made["history"]) == len(read["history"]):  # a button by hand, no step
        changed |= {kind for kind, names in _OF.items() if any(made.get(each) != read.get(each) for each in names)}
    if sculpted(collection):
        changed.add("head")
    if changed:
        collection[KEPT] = json.dumps({**kept(collection), **dict.fromkeys(changed, done)})


def kept(collection: bpy.types.Collection) -> dict[str, int]:
    """Kind to the number of steps that were done when it was changed by hand last. Damaged text gives {}."""
    try:
        found = json.loads(str(collection.get(KEPT, "{}")))
    except ValueError:
        return {}
    return {str(kind): int(done) for kind, done in found.items()} if isinstance(found, dict) else {}


def moved_now(collection: bpy.types.Collection, text: str, unit: float) -> set[str]:
    """What stands otherwise than the record `text` says, so that no step has seen it yet: "landmarks", "eyes"."""
    bare = _bare(text)
    if bare is None:
        return set()
    found = set()
    try:
        if landmarks_by_hand(bare, collection, unit) != dict(bare.landmarks):
            found.add("landmarks")
        if any(eye_by_hand(eye, collection, unit) is not eye for eye in bare.eyes):
            found.add("eyes")
    except BadMesh:
        found.add("eyes")  # an empty is gone, or a curve too short: the next step says which
    return found


def note_form(collection: bpy.types.Collection) -> None:
    """Note what the head's vertices are, to see later whether a hand changed them."""
    data = _head(collection)
    if data is not None:
        data[FORM] = _form(data)


def sculpted(collection: bpy.types.Collection) -> bool:
    """Whether the head's vertices are other ones than were written. Of a head without a note nothing is known."""
    data = _head(collection)
    return data is not None and FORM in data and data[FORM] != _form(data)


def steps_done(facts: Mapping[str, Any]) -> int:
    """How many steps were done, those that refused not counted."""
    return sum("left_out" not in each.get("figures", {}) for each in facts.get("history", ()))


def _head(collection: bpy.types.Collection) -> bpy.types.Mesh | None:
    thing = object_with(collection, "head")
    return thing.data if thing is not None and isinstance(thing.data, bpy.types.Mesh) else None


def _form(data: bpy.types.Mesh) -> str:
    points = np.empty((len(data.vertices), 3), np.float32)
    data.vertices.foreach_get("co", points.ravel())
    return f"{zlib.crc32(points.tobytes()):08x}"


@functools.lru_cache(maxsize=4)
def _bare(text: str) -> Workpiece | None:
    """What a record says of landmarks and eyes; None where it is damaged, which other places tell."""
    try:
        facts = json.loads(text)
        arrays = {f"eyes/{k}/opening": np.array(points) for k, points in facts.get("openings", {}).items()}
        return store.unpack({"frame": np.eye(4), **arrays}, {**facts, "shapes": {}})
    except (ValueError, TypeError, AttributeError, KeyError):
        return None
