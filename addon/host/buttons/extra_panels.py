"""The panels that hold no steps: landmarks by hand, what is shown, recipes, findings and notes."""

from typing import Any

import bpy

from ...job.errands import CompareShapes
from ...job.wording import limit, measured
from ...steps.workpiece import Landmark
from ..drawn import maps, overlays
from ..scene import looks, scene_piece, states
from ..scene.settings import copy_settings, draw_settings, stored
from ..scene.tabs import ViewTab
from ..scene.wording import as_shown, title
from . import show_operators

_NAME_OF_ROW = 0.82
"""Share of the sidebar's width that a landmark's name takes; the longest has room in it."""


class CANTHUS_PT_landmark_list(ViewTab, bpy.types.Panel):
    bl_label = "Landmarks by Hand"
    bl_parent_id = "CANTHUS_PT_pose"
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context: bpy.types.Context) -> None:
        layout = self.layout
        collection = scene_piece.piece_collection(context)
        row = layout.row(align=True)
        row.operator("canthus.drag_handles", icon="VIEW_PAN").mirror = False
        row.operator("canthus.drag_handles", text="Both Sides", icon="MOD_MIRROR").mirror = True
        layout.operator_menu_enum("canthus.set_landmark", "landmark", text="Set Landmark", icon="PIVOT_CURSOR")
        row = layout.row(align=True)
        row.operator("canthus.snap_landmarks", icon="SNAP_FACE")
        row.operator_menu_enum("canthus.mirror_landmarks", "side", text="Mirror", icon="MOD_MIRROR")
        for name, mark in states.facts_shown(collection).get("landmarks", {}).items():
            weak = mark["confidence"] < Landmark.SURE
            row = layout.split(factor=_NAME_OF_ROW)
            row.alert = weak
            words = row.row()
            words.alignment = "LEFT"
            icon = "ERROR" if weak else "DOT"
            button = words.operator("canthus.set_landmark", text=title(name), icon=icon, emboss=False)
            button.landmark = name
            row.label(text="hand" if mark["source"] == "placed" else f"{100 * mark['confidence']:.0f} %")


class CANTHUS_PT_show(ViewTab, bpy.types.Panel):
    bl_label = "Show"
    bl_order = 85
    bl_options = {"DEFAULT_CLOSED"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return scene_piece.piece_collection(context) is not None

    def draw(self, context: bpy.types.Context) -> None:
        layout = self.layout
        row = layout.row(align=True)
        for form in show_operators.forms_of(scene_piece.piece_collection(context)):
            row.operator("canthus.show_form", text={"skin": "Before"}.get(form, title(form))).form = form
        row = layout.row(align=True)
        row.operator("canthus.before_after", icon="ARROW_LEFTRIGHT")
        shown = looks.landmarks_shown(scene_piece.piece_collection(context))
        row.operator("canthus.show_landmarks", icon="HIDE_OFF" if shown else "HIDE_ON", depress=shown)
        draw_overlays(layout, context)
        draw_compare(layout, context)
        thing = context.active_object
        columns = maps.columns_of(thing) if thing is not None and scene_piece.role_of(thing) else []
        if columns:
            column = layout.column(align=True)
            column.operator("canthus.show_map", text="Own Colors").column = ""
            for name in columns:
                column.operator("canthus.show_map", text=maps.words_for(name)).column = name


def draw_compare(layout: bpy.types.UILayout, context: bpy.types.Context) -> None:
    """The button with its settings folded underneath."""
    header, body = layout.panel("CANTHUS_compare", default_closed=True)
    kept = stored(context.scene, CompareShapes)
    copy_settings(CompareShapes, kept, header.operator("canthus.compare", icon="COLOR"))
    if body is not None:
        draw_settings(body.column(), CompareShapes, kept)


def draw_overlays(layout: bpy.types.UILayout, context: bpy.types.Context) -> None:
    """What can be drawn over the view."""
    wanted = context.window_manager.canthus_overlays
    column = layout.column(heading="Over the View", align=True)
    for name in ("marked", "eyeballs", "thin", "cavities", "section"):
        column.prop(wanted, name)
    if wanted.section:
        draw_plane(layout, wanted)
    scan = scene_piece.object_with(scene_piece.piece_collection(context), "scan")
    if scan is not None and looks.is_cloud(scan):
        layout.prop(wanted, "points")
    lacking = overlays.lacking(context)
    if lacking:
        draw_text(layout.column(align=True), context, lacking, "INFO")


def draw_plane(layout: bpy.types.UILayout, wanted: overlays.CANTHUS_PG_overlays) -> None:
    """Where the section lies, and from where it is seen."""
    row = layout.row(align=True)
    row.prop(wanted, "axis", text="")
    row.prop(wanted, "at", slider=True)


class CANTHUS_PT_recipe(ViewTab, bpy.types.Panel):
    bl_label = "Recipe"
    bl_order = 86
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context: bpy.types.Context) -> None:
        column = self.layout.column(align=True)
        column.operator("canthus.save_recipe", text="Save Recipe...", icon="FILE_TICK")
        column.operator("canthus.run_recipe", text="Run Recipe...", icon="FILE_REFRESH")


class CANTHUS_PT_check_results(ViewTab, bpy.types.Panel):
    bl_label = "Findings"
    bl_order = 90

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return bool(states.facts_shown(scene_piece.piece_collection(context)).get("checks"))

    def draw(self, context: bpy.types.Context) -> None:
        checks = states.facts_shown(scene_piece.piece_collection(context))["checks"]
        bad = [number for number, check in enumerate(checks) if not check["ok"]]
        for number in bad:
            draw_finding(self.layout, context, number, checks[number])
        header, body = self.layout.panel("CANTHUS_passed", default_closed=True)
        header.label(text=f"{len(checks) - len(bad)} of {len(checks)} checks passed", icon="CHECKMARK")
        if body is not None:
            for check in checks:
                if check["ok"]:
                    body.label(text=finding_line(check))


def finding_line(check: dict[str, Any]) -> str:
    """A finding in one line: what, how much, against what."""
    wanted = f" ({limit(check)})" if limit(check) else ""
    return as_shown(f"{check['name']}: {measured(check)}{wanted}")


def draw_finding(layout: bpy.types.UILayout, context: bpy.types.Context, number: int, check: dict[str, Any]) -> None:
    """A finding that is not well, with a button to its place and what to do."""
    column = layout.column(align=True)
    row = column.row()
    words = row.column(align=True)
    words.alert = check["grave"]
    draw_text(words, context, finding_line(check), "ERROR" if check["grave"] else "INFO", beside=3)
    if isinstance(check["where"], list):
        row.operator("canthus.look_at_finding", text="", icon="VIEWZOOM").number = number
    draw_text(column, context, check["advice"], "BLANK1")


class CANTHUS_PT_notes(ViewTab, bpy.types.Panel):
    bl_label = "Notes"
    bl_order = 91
    bl_options = {"DEFAULT_CLOSED"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return bool(states.facts_shown(scene_piece.piece_collection(context)).get("notes"))

    def draw(self, context: bpy.types.Context) -> None:
        for note in states.facts_shown(scene_piece.piece_collection(context))["notes"]:
            draw_text(self.layout.column(align=True), context, note, "INFO")


def draw_text(column: bpy.types.UILayout, context: bpy.types.Context, text: str, icon: str, beside: int = 0) -> None:
    """A sentence, wrapped to the width of the sidebar less `beside` letters for what stands next to it."""
    width = max(20, int(context.region.width / (7.5 * context.preferences.system.ui_scale)) - beside)
    for number, line in enumerate(wrapped(as_shown(text), width)):
        column.label(text=line, icon=icon if number == 0 else "BLANK1")


def wrapped(text: str, width: int) -> list[str]:
    """The text in lines of at most `width` letters, cut between words."""
    lines = [""] if text else []
    for word in text.split():
        if lines[-1] and len(lines[-1]) + 1 + len(word) > width:
            lines.append("")
        lines[-1] = f"{lines[-1]} {word}".strip()
    return lines


CLASSES = (
    CANTHUS_PT_landmark_list,
    CANTHUS_PT_show,
    CANTHUS_PT_recipe,
    CANTHUS_PT_check_results,
    CANTHUS_PT_notes,
)
