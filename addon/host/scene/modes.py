"""Works in Object Mode and goes back to the mode the user was in."""

from collections.abc import Iterator
from contextlib import contextmanager

import bpy


@contextmanager
def object_mode(context: bpy.types.Context) -> Iterator[None]:
    """Leave Edit or Sculpt Mode, which brings what was edited into the mesh, and go back to it at the end."""
    thing = context.view_layer.objects.active
    mode = "OBJECT" if thing is None else thing.mode
    if mode == "OBJECT":
        yield
        return
    name = thing.name
    bpy.ops.object.mode_set(mode="OBJECT")
    try:
        yield
    finally:
        again = context.view_layer.objects.get(name)
        if again is not None and again.visible_get() and again.type == "MESH":
            context.view_layer.objects.active = again
            bpy.ops.object.mode_set(mode=mode)
