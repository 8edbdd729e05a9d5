"""How strong relief is, painted on the head: gray in the host's vertex paint, a value a vertex for the step.

While it is painted the mask is a colour attribute of its own (`exchange.MASK`), read as the column the step looks for;
when painting ends it becomes that column.
"""

import bpy
import numpy as np

from ..drawn import drawing
from ..scene import columns, exchange, scene_piece, states
from . import viewport

COLUMN = exchange.MASKED
"""The column `relief` scales its depths by: 0 none, 1 as set."""


def painted(thing: bpy.types.Object | None) -> bool:
    """Whether a mask is being painted on an object."""
    return thing is not None and thing.type == "MESH" and exchange.MASK in thing.data.color_attributes


def begin(thing: bpy.types.Object) -> None:
    """Give the head a mask to paint on: what its column says, else white."""
    data = thing.data
    values = np.ones(len(data.vertices), np.float32)
    if COLUMN in data.attributes and data.attributes[COLUMN].data_type == "FLOAT":
        data.attributes[COLUMN].data.foreach_get("value", values)
    gray = np.ones((len(values), 4), np.float32)
    gray[:, :3] = values[:, None]
    mask = data.color_attributes.new(exchange.MASK, "FLOAT_COLOR", "POINT")
    mask.data.foreach_set("color_srgb", gray.ravel())
    data.color_attributes.active_color = mask
    data.update()


def end(thing: bpy.types.Object) -> None:
    """Make a column of the mask, and show the head's own colours again."""
    data = thing.data
    columns.write(data, COLUMN, exchange.mask_of(data))
    data.color_attributes.remove(data.color_attributes[exchange.MASK])
    if len(data.color_attributes):
        data.color_attributes.active_color = data.color_attributes[0]
    data.update()


class CANTHUS_OT_paint_mask(bpy.types.Operator):
    bl_idname = "canthus.paint_mask"
    bl_label = "Paint Strength"
    bl_description = "Paint on the head how strong its relief is: white as set, black none; press again when done"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return states.ready(cls, context, "head")

    def execute(self, context: bpy.types.Context) -> set[str]:
        thing = scene_piece.object_with(scene_piece.piece_collection(context), "head")
        if thing.library is not None or thing.override_library is not None:
            self.report({"ERROR"}, f'"{thing.name}" is linked from another file: append it instead, or make it local')
            return {"CANCELLED"}
        if context.view_layer.objects.active is not None and context.view_layer.objects.active.mode != "OBJECT":
            bpy.ops.object.mode_set(mode="OBJECT")
        if painted(thing):
            end(thing)
            return {"FINISHED"}
        thing.hide_viewport = False
        if not thing.visible_get():
            self.report({"ERROR"}, f'"{thing.name}" is hidden: show it first')
            return {"CANCELLED"}
        begin(thing)
        context.view_layer.objects.active = thing
        bpy.ops.object.mode_set(mode="VERTEX_PAINT")
        _black_first(context)
        viewport.show_colours(context)
        return {"FINISHED"}


def _black_first(context: bpy.types.Context) -> None:
    """The brush takes relief away, and the host's key to swap colours gives it back."""
    paint = context.tool_settings.vertex_paint
    shared = getattr(paint, "unified_paint_settings", None) or context.tool_settings.unified_paint_settings
    shared.use_unified_color = True
    shared.color, shared.secondary_color = (0.0, 0.0, 0.0), (1.0, 1.0, 1.0)


def _draw_legend() -> None:
    if painted(bpy.context.active_object) and bpy.context.space_data.overlay.show_overlays:
        drawing.legend(_LEGEND, bpy.context.region)


_LEGEND: list[tuple[drawing.Colour, str]] = [
    ((1.0, 1.0, 1.0, 1.0), "relief as set"),
    ((0.0, 0.0, 0.0, 1.0), "no relief: X changes brush colors, Done Painting ends it"),
]
DRAWN = drawing.Drawn(over=_draw_legend)
CLASSES = (CANTHUS_OT_paint_mask,)
