"""The sidebar tab: one panel a stage, in the order of the work."""

import time
from collections.abc import Mapping, Sequence
from typing import Any

import bpy

from ...job.wording import scale_text
from ...steps.catalogue import STAGES, all_steps, step_named
from ...steps.step import Step
from ..scene import brow_curves, photo_images, scene_piece, states
from ..scene.settings import copy_settings, draw_settings, identifier, stored
from ..scene.tabs import ViewTab
from ..scene.wording import title
from . import extra_panels, masks, presets
from .step_operator import BY_FILE

_ICONS = {states.DONE: "CHECKMARK", states.STALE: "FILE_REFRESH", states.TO_DO: "LAYER_USED"}
_HINTS = {states.STALE: "Something before it has changed: run it again"}
_STAGE_TITLES = {
    "intake": "Intake",
    "clean": "Clean",
    "surface": "Surface",
    "pose": "Pose and Size",
    "eyes": "Eyes",
    "detail": "Detail",
    "output": "Output",
}

_FILE_BUTTONS = {"load": "Load Scan...", "export": "Export Parts..."}
_PLANES = {"neck": "Show Cut", "key": "Show Parting"}
_ONE_DRAWING = 0.04
"""Seconds that the states found for one panel of the sidebar are good for the others."""
_drawn: dict[str, Any] = {}
_AT_LIFE_SIZE = ("intake", "clean", "surface")
"""Stages that come before the head is scaled."""
_CLOSED = ("detail",)
"""Stages that not every head goes through."""
FOLDED = True
"""Whether the settings of a step are folded away until someone unfolds them."""


class CANTHUS_PT_job(ViewTab, bpy.types.Panel):
    bl_label = "Head"
    bl_order = 0

    def draw(self, context: bpy.types.Context) -> None:
        layout = self.layout
        progress = context.window_manager.canthus
        if progress.running:
            layout.progress(factor=progress.fraction, text=f"{progress.title}, {progress.seconds} s")
            what = progress.what[:1].upper() + progress.what[1:]
            extra_panels.draw_text(layout.column(align=True), context, what, "NONE")
            layout.operator("canthus.stop", icon="CANCEL")
            return
        collection = scene_piece.piece_collection(context)
        if collection is None:
            layout.label(text="Load a scan of a head to begin")
        else:
            _draw_facts(layout, context, collection)
        column = layout.column(align=True)
        if collection is None:
            column.operator("canthus.load", text=_FILE_BUTTONS["load"], icon="FILE_FOLDER")
        if collection is None or not scene_piece.role_of(context.object or collection):
            column.operator("canthus.take_object", icon="OBJECT_DATA")
        if collection is not None:
            _draw_next(layout, context, collection)
            layout.operator("canthus.make", icon="PLAY")


def _draw_facts(layout: bpy.types.UILayout, context: bpy.types.Context, collection: bpy.types.Collection) -> None:
    facts = states.facts_shown(collection)
    if not facts:
        row = layout.row()
        row.alert = True
        row.label(text="The record of this head is damaged: load the scan again", icon="ERROR")
        return
    layout.label(text=f"{facts.get('name', '')}, {scale_text(facts.get('scale', 1.0))}", icon="USER")
    state = _states_drawn(context, collection)["check"]
    if facts.get("checks") and state != states.TO_DO:  # measuring the face leaves some too
        text, icon, grave = check_line(facts["checks"], state)
        row = layout.row()
        row.alert = grave
        row.label(text=text, icon=icon)


def _draw_next(layout: bpy.types.UILayout, context: bpy.types.Context, collection: bpy.types.Collection) -> None:
    """The step the sculptor would press next, wherever in the tab its own button lies."""
    found = states.next_step(_states_drawn(context, collection))
    if found is not None:
        name, again = found
        words = f"{'Run Again' if again else 'Next'}: {title(name)}"
        _step_button(layout, context, step_named(name), words, _ICONS[states.STALE] if again else "FORWARD")


def _step_button(
    layout: bpy.types.UILayout, context: bpy.types.Context, step: type[Step], words: str, icon: str
) -> None:
    """A step's button with the settings of its panel; Load and Export ask for their place instead."""
    button = layout.operator(f"canthus.{identifier(step)}", text=words, icon=icon)
    if step.NAME not in BY_FILE:
        copy_settings(step, stored(context.scene, step), button)


def check_line(checks: Sequence[Mapping[str, Any]], state: str) -> tuple[str, str, bool]:
    """What the check says in a line, with its icon, and whether it is grave. `state` is that of the step."""
    if state == states.STALE:
        return "Changed since it was checked", _ICONS[states.STALE], False
    bad = [each for each in checks if not each["ok"]]
    grave = sum(bool(each["grave"]) for each in bad)
    if grave:
        return f"Do not print: {grave} grave finding{'' if grave == 1 else 's'}", "ERROR", True
    if bad:
        return f"Checked: {len(bad)} finding{'' if len(bad) == 1 else 's'} to look at", "INFO", False
    return f"Checked: all {len(checks)} well", "CHECKMARK", False


def _states_drawn(context: bpy.types.Context, collection: bpy.types.Collection | None) -> dict[str, str]:
    """The states of the steps, found once a drawing of the sidebar, which asks for them fifteen times."""
    key = None if collection is None else (collection.session_uid, collection[scene_piece.RECORD])
    if "key" not in _drawn or _drawn["key"] != key or time.monotonic() - _drawn["at"] > _ONE_DRAWING:
        _drawn.update(key=key, at=time.monotonic(), states=states.states_of(collection, context.scene))
    found: dict[str, str] = _drawn["states"]
    return found


class _StagePanel(ViewTab):
    """A stage's buttons. Each step has its own fold that holds its settings."""

    stage: str

    def draw_header_preset(self, context: bpy.types.Context) -> None:
        found = _states_drawn(context, scene_piece.piece_collection(context))
        mine = [found[step.NAME] for step in _steps_of(self.stage)]
        if states.STALE in mine:
            self.layout.label(text="", icon=_ICONS[states.STALE])
        elif mine and all(each == states.DONE for each in mine):
            self.layout.label(text="", icon=_ICONS[states.DONE])
        elif self.stage in _CLOSED and states.DONE in mine:  # folded away, they would go unseen
            self.layout.label(text=f"{mine.count(states.DONE)} done", icon=_ICONS[states.DONE])

    def draw(self, context: bpy.types.Context) -> None:
        found = _states_drawn(context, scene_piece.piece_collection(context))
        for step in _steps_of(self.stage):
            draw_step(self.layout, context, step, found[step.NAME])


def draw_step(layout: bpy.types.UILayout, context: bpy.types.Context, step: type[Step], state: str) -> None:
    """The step's button with its state, its settings folded underneath."""
    name, collection = identifier(step), scene_piece.piece_collection(context)
    header, body = layout.panel(f"CANTHUS_{name}", default_closed=FOLDED)
    row = header.row(align=True)
    _step_button(row, context, step, _FILE_BUTTONS.get(step.NAME, title(step.NAME)), _ICONS[state])
    if body is None:
        return
    if state in _HINTS:
        body.label(text=_HINTS[state], icon="INFO")
    presets.draw(body, name)
    _draw_by_hand(body, context, step.NAME, collection)
    scale = 1.0 if step.STAGE in _AT_LIFE_SIZE else states.facts_shown(collection).get("scale", 1.0)
    draw_settings(body.column(), step, stored(context.scene, step), scale)


def _draw_by_hand(
    layout: bpy.types.UILayout, context: bpy.types.Context, step: str, collection: bpy.types.Collection | None
) -> None:
    """What is seen or done by hand before a step runs: a plane, curves, a wall, a mask, hair, photographs."""
    if step in _PLANES:
        layout.operator("canthus.show_plane", text=_PLANES[step], icon="MESH_PLANE").step = step
    elif step == "hollow":
        wanted = context.window_manager.canthus_overlays
        layout.prop(wanted, "wall", text="Show Wall", toggle=True, icon="MOD_SOLIDIFY")
        if wanted.wall:
            extra_panels.draw_plane(layout, wanted)
    elif step == "relief":
        painted = collection is not None and masks.painted(scene_piece.object_with(collection, "head"))
        words = "Done Painting" if painted else "Paint Strength"
        layout.operator("canthus.paint_mask", text=words, icon="BRUSH_DATA", depress=painted)
    elif step == "brows":
        there = any(not each.hide_viewport for each in brow_curves.things_in(collection))
        words = "Drop Brow Curves" if there else "Lay Brow Curves"
        row = layout.row(align=True)
        row.operator("canthus.brow_curves", text=words, icon="CURVE_PATH", depress=there)
        row.operator("canthus.drag_handles", text="", icon="VIEW_PAN").mirror = False
    elif step == "fit-hair":
        layout.operator("canthus.take_hair", icon="OBJECT_DATA")
    elif step == "place-eyes":
        count = len(photo_images.marked_images())
        found = f"{count} marked photograph{'' if count == 1 else 's'} used"
        layout.label(text=found if count else "Mark photographs in an image editor", icon="IMAGE_DATA")


def _steps_of(stage: str) -> list[type[Step]]:
    return [step for step in all_steps() if stage == step.STAGE]


def panel_classes() -> list[type]:
    """The panels in their order; a stage without steps has none."""
    stages = []
    for order, stage in enumerate(STAGES, start=1):
        if _steps_of(stage):
            body = {"bl_label": _STAGE_TITLES[stage], "bl_order": 10 * order, "stage": stage}
            if stage in _CLOSED:
                body["bl_options"] = {"DEFAULT_CLOSED"}
            stages.append(type(f"CANTHUS_PT_{stage}", (_StagePanel, bpy.types.Panel), body))
    return [CANTHUS_PT_job, *stages, *extra_panels.CLASSES]
