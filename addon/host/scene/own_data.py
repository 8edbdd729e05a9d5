"""Keeps a piece of work from leaving anything behind in the open file."""

from collections.abc import Iterator
from contextlib import contextmanager

import bpy

_OWNERS = (
    "scenes",
    "collections",
    "objects",
    "meshes",
    "curves",
    "fonts",
    "lights",
    "cameras",
    "materials",
    "worlds",
    "node_groups",
    "images",
)


@contextmanager
def own_data() -> Iterator[None]:
    """Whatever datablock is made inside is taken away at the end, on success, failure or cancel alike."""
    before = {owner: {each.session_uid for each in getattr(bpy.data, owner)} for owner in _OWNERS}
    try:
        yield
    finally:
        ours = [each for owner in _OWNERS for each in getattr(bpy.data, owner) if each.session_uid not in before[owner]]
        bpy.data.batch_remove(ours)
