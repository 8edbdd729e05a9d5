"""A button for each step, made from its declaration: a light step works in place, a heavy one beside the window."""

from typing import Any, ClassVar

import bpy

from ...steps.catalogue import all_steps
from ...steps.step import Step
from ...steps.workpiece import Landmark
from ..scene import scene_piece, states
from ..scene.brow_curves import with_brows
from ..scene.photo_images import with_marks
from ..scene.settings import copy_settings, draw_settings, identifier, properties_of, step_from, stored
from ..scene.wording import description, title
from .beside import beside_wanted
from .piece_operator import PieceOperator

BY_FILE = ("load", "export")
"""Steps whose button asks for a file or folder first: written by hand in `files_operator`."""
LIGHT_UP_TO = 1_000_000
"""Points and vertices of a head up to which light steps answer within half a second; on more they too go beside."""


TELLING = 4
"""Sure landmarks that tell how a head stands; with fewer Pose lays a mean face over it, which takes a second."""


class StepOperator(PieceOperator):
    """The part of a step's button that is the same for all."""

    step: ClassVar[type[Step]]

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return states.ready(cls, context, "piece", *cls.step.NEEDS)

    def draw(self, context: bpy.types.Context) -> None:
        draw_settings(self.layout.column(), self.step, self)

    def steps_to_run(self, context: bpy.types.Context) -> list[Step]:
        step = with_marks(step_from(self.step, self))
        return [with_brows(step, scene_piece.piece_collection(context), context.scene)]

    def execute(self, context: bpy.types.Context) -> set[str]:
        outcome = super().execute(context)
        if outcome == {"FINISHED"}:
            copy_settings(self.step, self, stored(context.scene, self.step))
        return outcome

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        at_once = self.step.LIGHT and quick_on(self.step, scene_piece.piece_collection(context))
        return self.begin_work(context) if beside_wanted(context) and not at_once else self.execute(context)


def quick_on(step: type[Step], collection: bpy.types.Collection) -> bool:
    """Whether a light step answers within half a second on this head: Pose does where landmarks tell how it stands."""
    if scene_piece.size(collection) > LIGHT_UP_TO:
        return False
    marks = states.facts_shown(collection).get("landmarks", {}).values()
    sure = sum(mark["confidence"] >= Landmark.SURE for mark in marks)
    return step.NAME != "pose" or sure >= TELLING


def operator_for(step: type[Step]) -> type:
    """The operator class of a step: `canthus.cull_strays` for `cull-strays`."""
    body: dict[str, Any] = {
        "__annotations__": properties_of(step),
        "__doc__": description(step),
        "bl_idname": f"canthus.{identifier(step)}",
        "bl_label": title(step.NAME),
        "bl_description": description(step),
        # Redo runs `execute`, in place: only for steps that answer at once.
        "bl_options": {"REGISTER", "UNDO"} if step.LIGHT else {"UNDO"},
        "step": step,
        "steps_named": step.NAME,
    }
    return type(f"CANTHUS_OT_{identifier(step)}", (StepOperator, bpy.types.Operator), body)


def operator_classes() -> list[type]:
    """The generated operators."""
    return [operator_for(step) for step in all_steps() if step.NAME not in BY_FILE]
