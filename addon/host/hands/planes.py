"""The planes a head is cut and parted along: shown where the steps would put them, moved and tilted by handles.

The handles write the steps' own settings (`raise_by`, `tilt`); nothing is cut until the step's button is pressed.
"""

from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np
from mathutils import Matrix, Vector

from ...geometry.errors import CanthusError, NotReady
from ...geometry.solids.sections import Plane
from ...steps.catalogue import step_named
from ..buttons.in_place import told
from ..drawn import drawing, sections, shapes
from ..scene import exchange, scene_piece, states
from ..scene.settings import stored

OUTLINE, SHEET = (1.0, 0.85, 0.2, 1.0), (1.0, 0.85, 0.2, 0.14)
_ITEMS = [
    ("neck", "Cut", "Show where Neck cuts the head, with handles"),
    ("key", "Parting", "Show where Key parts the head, with handles"),
]


@dataclass(frozen=True, eq=False)
class Found:
    """A plane as its step finds it, not moved or tilted, in millimetres; and which head it was found on."""

    step: str
    plane: Plane
    size: float
    head: int


_found: list[Found] = []
"""The one that is shown, if any."""


class CANTHUS_OT_show_plane(bpy.types.Operator):
    bl_idname = "canthus.show_plane"
    bl_label = "Show Plane"
    bl_description = "Show where this step cuts; drag the arrow to move the plane, the ring to tilt it"
    bl_options = {"INTERNAL"}

    step: bpy.props.EnumProperty(items=_ITEMS, name="Plane", description="Of which step")

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return states.there(cls, context, "head")

    def execute(self, context: bpy.types.Context) -> set[str]:
        there = showing(context)
        forget()
        if there is not None and there.step == self.step:
            drawing.redraw(context)
            return {"FINISHED"}
        try:
            _found.append(found_on(context, self.step))
        except CanthusError as error:
            self.report({"ERROR"}, told(error))
            return {"CANCELLED"}
        drawing.redraw(context)
        return {"FINISHED"}


def found_on(context: bpy.types.Context, step: str) -> Found:
    """The plane the step finds on the head in the scene.

    Raises
    ------
    NotReady, NotPossible
        There is no head; nothing can be cut there.
    """
    from ...anatomy.neck import find_cut
    from ...anatomy.parting import parting_plane

    collection = scene_piece.piece_collection(context)
    thing = scene_piece.object_with(collection, "head")
    if thing is None:
        raise NotReady("there is no closed head yet: press Close first")
    unit = exchange.millimetres_per_unit(context.scene)
    head = shapes.shape_of(thing, unit)
    landmarks = scene_piece.bare_piece(collection, context.scene).landmarks
    marks = {name: np.asarray(mark.position) for name, mark in landmarks.items() if mark.sure}
    cut = find_cut(head, marks).plane if step == "neck" else parting_plane(head, marks)
    size = 0.5 * float(np.ptp(head.vertices[:, :2], axis=0).max())
    return Found(step, cut, size, thing.data.session_uid)


def showing(context: bpy.types.Context) -> Found | None:
    """The plane shown, as long as the head is the one it was found on."""
    collection = scene_piece.piece_collection(context)
    thing = None if collection is None else scene_piece.object_with(collection, "head")
    if _found and (thing is None or thing.data.session_uid != _found[0].head):
        forget()
    return _found[0] if _found else None


def forget() -> None:
    """Show none."""
    _found.clear()


def moved(found: Found, raise_by: float, tilt: float) -> Plane:
    """The plane moved up by millimetres and its front raised by radians, as its step does it."""
    from ...anatomy import neck, parting

    way = {"neck": neck.moved, "key": parting.moved}[found.step]
    return way(found.plane, raise_by, tilt)


def _settings(context: bpy.types.Context, found: Found) -> Any:
    return stored(context.scene, step_named(found.step))


def _plane_now(context: bpy.types.Context, found: Found) -> Plane:
    holder = _settings(context, found)
    return moved(found, holder.raise_by, holder.tilt)


class CANTHUS_GGT_plane(bpy.types.GizmoGroup):
    bl_idname = "CANTHUS_GGT_plane"
    bl_label = "Cut and Parting Plane"
    bl_space_type = "VIEW_3D"
    bl_region_type = "WINDOW"
    bl_options = {"3D", "PERSISTENT"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return showing(context) is not None

    def setup(self, context: bpy.types.Context) -> None:
        self.arrow = self.gizmos.new("GIZMO_GT_arrow_3d")
        self.arrow.target_set_handler("offset", get=_raised, set=_raise)
        self.ring = self.gizmos.new("GIZMO_GT_dial_3d")
        self.ring.target_set_handler("offset", get=_tilted, set=_tilt)
        for each in (self.arrow, self.ring):
            each.color, each.alpha = OUTLINE[:3], 0.8
            each.color_highlight, each.alpha_highlight = (1.0, 1.0, 1.0), 1.0
            each.line_width = 3.0
            each.use_draw_modal = True

    def draw_prepare(self, context: bpy.types.Context) -> None:
        found = showing(context)
        if found is None:
            return
        unit = exchange.millimetres_per_unit(context.scene)
        here = _plane_now(context, found)
        middle = Vector(here.origin) / unit
        side = Vector(here.across).normalized()
        self.arrow.matrix_basis = _facing(Vector(found.plane.origin) / unit, Vector(found.plane.up))
        self.arrow.length = 0.8
        # The ring turns about the line from ear to ear, which leaves the sitter on the left.
        self.ring.matrix_basis = _facing(middle, side)


def _facing(place: Vector, way: Vector) -> Matrix:
    """A matrix at `place` whose z axis looks along `way`."""
    return Matrix.Translation(place) @ way.to_track_quat("Z", "Y").to_matrix().to_4x4()


def _raised() -> float:
    found = showing(bpy.context)
    unit = exchange.millimetres_per_unit(bpy.context.scene)
    return 0.0 if found is None else float(_settings(bpy.context, found).raise_by) / unit


def _raise(value: float) -> None:
    found = showing(bpy.context)
    if found is not None:
        _settings(bpy.context, found).raise_by = value * exchange.millimetres_per_unit(bpy.context.scene)
        drawing.redraw(bpy.context)


def _tilted() -> float:
    found = showing(bpy.context)
    return 0.0 if found is None else -float(_settings(bpy.context, found).tilt)


def _tilt(value: float) -> None:
    found = showing(bpy.context)
    if found is not None:
        _settings(bpy.context, found).tilt = -value
        drawing.redraw(bpy.context)


def _draw_in_scene() -> None:
    context = bpy.context
    found = showing(context)
    if found is None or not context.space_data.overlay.show_overlays:
        return
    here, unit = _plane_now(context, found), exchange.millimetres_per_unit(context.scene)
    corners = found.size * np.array([(-1, -1), (1, -1), (1, 1), (-1, -1), (1, 1), (-1, 1)], dtype=np.float64)
    sheet = here.placed(corners) / unit
    outline = sections.outline_on(scene_piece.piece_collection(context), here.origin / unit, here.up)
    with drawing.behind():
        drawing.fill(sheet, SHEET)
        drawing.segments(outline, OUTLINE, 2 * drawing.ui_scale())


def _draw_legend() -> None:
    context = bpy.context
    found = showing(context)
    if found is None or not context.space_data.overlay.show_overlays:
        return
    holder = _settings(context, found)
    name = {"neck": "Cut", "key": "Parting"}[found.step]
    text = f"{name}: moved {holder.raise_by:+.2f} mm, tilted {np.degrees(holder.tilt):+.1f}°"
    drawing.legend([(OUTLINE, text)], context.region, above=-22)


DRAWN = drawing.Drawn(in_scene=_draw_in_scene, over=_draw_legend)
CLASSES = (CANTHUS_OT_show_plane, CANTHUS_GGT_plane)
