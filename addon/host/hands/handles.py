"""Handles on the surface: landmarks, lid margins and brows, dragged along the skin with the mouse until Esc or Enter.

A landmark's handle is its empty. A margin is a closed line of points, a brow's edge an open one; dragging a point takes
its neighbours along, less the farther they are, so that the line stays smooth.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import bpy
import numpy as np
from bpy_extras.view3d_utils import location_3d_to_region_2d
from mathutils import Vector
from numpy.typing import NDArray

from ...anatomy.face.landmarks import twin
from ..drawn import drawing
from ..scene import curves, exchange, looks, scene_piece, states
from ..scene.wording import title
from .landmark_operators import under_mouse

NEAR = 14.0
"""Pixels from a handle, at a scale of the interface of 1, within which the mouse takes hold of it."""
TAKEN_ALONG = {True: 0.12, False: 0.2}
"""Of a line's points, the share to each side of the dragged one that goes along with it: of a closed one, and of an
open one, which has fewer handles."""
HANDLE, HELD = (0.2, 1.0, 0.75, 1.0), (1.0, 1.0, 1.0, 1.0)
_LINE_WORDS = {"margin": "Lid margin", "brow": "Brow edge"}
_held: list["Handle"] = []
"""The one the mouse has hold of, drawn brighter and with its name."""


@dataclass(frozen=True)
class Handle:
    """A place that can be dragged: a landmark's empty, or a point (`row`) of a line."""

    thing: bpy.types.Object
    row: int
    place: Vector

    @property
    def words(self) -> str:
        """What it is called beside the mouse."""
        kind, name = scene_piece.role_of(self.thing).split("/")
        return title(name) if self.row < 0 else _LINE_WORDS[kind]


def handles_in(collection: bpy.types.Collection) -> Iterator[Handle]:
    """Every handle that can be seen."""
    for thing in collection.objects:
        if not thing.visible_get():
            continue
        if scene_piece.role_of(thing).startswith("landmark/"):
            yield Handle(thing, -1, thing.matrix_world.translation.copy())
        elif scene_piece.role_of(thing).startswith(curves.LINES):
            places, closed = curves.places_of(thing), curves.is_closed(thing)
            yield from (Handle(thing, row, Vector(places[row])) for row in curves.handle_rows(places, closed))


def dragged(
    places: NDArray[np.float64], row: int, place: NDArray[np.float64], closed: bool = True
) -> NDArray[np.float64]:
    """A line of (k, 3) places with one of them moved and its neighbours drawn along."""
    count = len(places)
    apart = np.abs(np.arange(count) - row)
    if closed:
        apart = np.minimum(apart, count - apart)
    share = np.clip(1 - apart / max(1.0, TAKEN_ALONG[closed] * count), 0, 1)
    return np.asarray(places + (share * share * (3 - 2 * share))[:, None] * (place - places[row]))


class CANTHUS_OT_drag_handles(bpy.types.Operator):
    bl_idname = "canthus.drag_handles"
    bl_label = "Drag Handles"
    bl_description = (
        "Drag landmarks, lid margins and brow curves along the surface with the left mouse button; Enter or Esc ends "
        "it. Each drag is one undo step"
    )
    bl_options = {"INTERNAL"}

    mirror: bpy.props.BoolProperty(name="Mirror", description="Move the twin on the other side likewise")

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return states.ready(cls, context, "landmarks")

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        if context.area is None or context.area.type != "VIEW_3D":
            self.report({"ERROR"}, "Handles are dragged in a 3D view: press the button in its sidebar")
            return {"CANCELLED"}
        looks.show_landmarks(scene_piece.piece_collection(context), True)
        context.workspace.status_text_set("Drag landmarks and lines along the surface   Enter, Esc: Done")
        context.window_manager.modal_handler_add(self)
        return {"RUNNING_MODAL"}

    def modal(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        if event.type in ("ESC", "RET", "NUMPAD_ENTER") and event.value == "PRESS":
            self.cancel(context)
            return {"FINISHED"}
        if event.type == "LEFTMOUSE" and event.value == "PRESS":
            found = self.under(context, event)
            _held[:] = [found] if found is not None else []
            drawing.redraw(context)
            return {"RUNNING_MODAL"} if _held else {"PASS_THROUGH"}
        if event.type == "LEFTMOUSE" and event.value == "RELEASE" and _held:
            bpy.ops.ed.undo_push(message=f"Drag {_held[0].words}")
            _held.clear()
            drawing.redraw(context)
            return {"RUNNING_MODAL"}
        if event.type == "MOUSEMOVE" and _held:
            place = under_mouse(context, event)
            if place is not None:
                move(context, _held[0], Vector(place), self.mirror)
                drawing.redraw(context)
            return {"RUNNING_MODAL"}
        return {"PASS_THROUGH"}

    def under(self, context: bpy.types.Context, event: bpy.types.Event) -> Handle | None:
        """The handle nearest the mouse, if one is near enough."""
        region = next((each for each in context.area.regions if each.type == "WINDOW"), None)
        if region is None:
            return None
        mouse = Vector((event.mouse_x - region.x, event.mouse_y - region.y))
        best, least = None, NEAR * drawing.ui_scale()
        for handle in handles_in(scene_piece.piece_collection(context)):
            seen = location_3d_to_region_2d(region, context.space_data.region_3d, handle.place)
            if seen is not None and (seen - mouse).length < least:
                best, least = handle, (seen - mouse).length
        return best

    def cancel(self, context: bpy.types.Context) -> None:
        _held.clear()
        context.workspace.status_text_set(None)
        drawing.redraw(context)


def move(context: bpy.types.Context, handle: Handle, place: Vector, mirror: bool = False) -> None:
    """Bring a handle to a place in millimetres, and its twin to the mirrored one if asked."""
    unit = exchange.millimetres_per_unit(context.scene)
    if handle.row >= 0:
        places = curves.places_of(handle.thing)
        closed = curves.is_closed(handle.thing)
        curves.put_places(handle.thing, dragged(places, handle.row, np.array(place) / unit, closed))
        return
    handle.thing.matrix_basis.translation = place / unit
    name = scene_piece.role_of(handle.thing).removeprefix("landmark/")
    other = twin(name)
    if not mirror or other == name:
        return
    thing = scene_piece.object_with(scene_piece.piece_collection(context), f"landmark/{other}")
    if thing is not None:
        thing.matrix_basis.translation = Vector((-place.x, place.y, place.z)) / unit


def _draw_lines() -> None:
    """The lines themselves: under the colours of the pockets the host's own are hardly seen."""
    context = bpy.context
    collection = scene_piece.piece_collection(context)
    if collection is None or not context.space_data.overlay.show_overlays:
        return
    for thing in collection.objects:
        if scene_piece.role_of(thing).startswith(curves.LINES) and thing.visible_get():
            places = curves.places_of(thing)
            ends = np.stack([places, np.roll(places, -1, axis=0)], axis=1)
            ends = (ends if curves.is_closed(thing) else ends[:-1]).reshape(-1, 3)
            with drawing.behind():
                drawing.segments(ends, HANDLE, 1.5 * drawing.ui_scale())


def _draw() -> None:
    """The lines' handles, and the name of the one the mouse has hold of."""
    context = bpy.context
    collection = scene_piece.piece_collection(context)
    if collection is None or not context.space_data.overlay.show_overlays:
        return
    scale = drawing.ui_scale()
    for handle in handles_in(collection):
        held = bool(_held) and (handle.thing, handle.row) == (_held[0].thing, _held[0].row)
        if handle.row < 0 and not held:
            continue
        seen = location_3d_to_region_2d(context.region, context.region_data, handle.place)
        if seen is None:
            continue
        middle = np.array([seen[:]])
        drawing.fill(drawing.discs(middle, (5.0 if held else 3.6) * scale), drawing.RIM)
        drawing.fill(drawing.discs(middle, (4.0 if held else 2.6) * scale), HELD if held else HANDLE)
        if held:
            drawing.words(handle.words, seen.x + 8 * scale, seen.y + 6 * scale)


DRAWN = drawing.Drawn(in_scene=_draw_lines, over=_draw)
CLASSES = (CANTHUS_OT_drag_handles,)
