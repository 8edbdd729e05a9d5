"""The view: millimetres in the scene, and looking at the head."""

from collections.abc import Iterator

import bpy
from mathutils import Quaternion, Vector

from . import scene_piece

THREE_QUARTER = Quaternion((0.7556, 0.6124, 0.1462, 0.1804))
"""A little from the sitter's left, a little from above."""


def set_millimetres(context: bpy.types.Context) -> None:
    """Let one unit of the scene be one millimetre, and say lengths in it."""
    units = context.scene.unit_settings
    units.system, units.length_unit = "METRIC", "MILLIMETERS"
    units.scale_length = 0.001


def show_piece(context: bpy.types.Context, collection: bpy.types.Collection, turn: bool = True) -> None:
    """Make the latest form of a head active and look at it; `turn` also turns the view to three-quarter.

    It is active without being selected: an orange outline would hide the points of a scan.
    """
    thing = scene_piece.object_with(collection, "head") or scene_piece.object_with(collection, "scan")
    if thing is None:
        return
    for other in context.selected_objects:
        other.select_set(False)
    context.view_layer.objects.active = thing
    look_at(context, thing, turn)


def look_at(context: bpy.types.Context, thing: bpy.types.Object, turn: bool = True) -> None:
    """Bring an object into the middle of every 3D view, near and far limits to suit its size."""
    context.view_layer.update()
    corners = [thing.matrix_world @ Vector(corner) for corner in thing.bound_box]
    low = Vector(min(corner[axis] for corner in corners) for axis in range(3))
    high = Vector(max(corner[axis] for corner in corners) for axis in range(3))
    size = max((high - low)[:]) or 1.0
    for space in views(context):
        space.clip_start, space.clip_end = size / 500, size * 100
        view = space.region_3d
        view.view_location, view.view_distance = (low + high) / 2, 1.7 * size
        if turn:
            view.view_perspective, view.view_rotation = "PERSP", THREE_QUARTER


def show_colours(context: bpy.types.Context) -> None:
    """Show colours in solid views: a scan's own, and what a map paints on a head."""
    for space in views(context):
        space.shading.color_type = "VERTEX"
        space.shading.show_cavity = True


def views(context: bpy.types.Context) -> Iterator[bpy.types.SpaceView3D]:
    """The 3D views on the screen."""
    for window in context.window_manager.windows:
        for area in window.screen.areas:
            if area.type == "VIEW_3D":
                yield area.spaces[0]
