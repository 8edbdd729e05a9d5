"""The button that does the whole job, and the one that stops what is at work."""

import bpy

from ...job.chain import SPARED, steps_for
from ...steps.step import Step
from ..scene import scene_piece, states
from ..scene.photo_images import with_marks
from ..scene.settings import step_from, stored
from .beside import beside_wanted
from .piece_operator import PieceOperator


class CANTHUS_OT_make(PieceOperator, bpy.types.Operator):
    bl_idname = "canthus.make"
    bl_label = "Make Everything"
    bl_description = "Run every step from the scan to the checked parts, with the settings in the panels"
    bl_options = {"UNDO"}
    spared = SPARED

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return states.ready(cls, context, "scan")

    def steps_to_run(self, context: bpy.types.Context) -> list[Step]:
        wanted = [step for step in steps_for(_passes(context)) if step.NAME != "load"]
        return [with_marks(step_from(step, stored(context.scene, step))) for step in wanted]

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        return self.begin_work(context) if beside_wanted(context) else self.execute(context)


def _passes(context: bpy.types.Context) -> int:
    """How many files the scan was loaded from."""
    return int(scene_piece.piece_collection(context).get(scene_piece.PASSES, 1))


class CANTHUS_OT_stop(bpy.types.Operator):
    bl_idname = "canthus.stop"
    bl_label = "Cancel"
    bl_description = "Stop the work; everything stays as it was"
    bl_options = {"INTERNAL"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        if not context.window_manager.canthus.running:
            cls.poll_message_set("Nothing is at work")
        return bool(context.window_manager.canthus.running)

    def execute(self, context: bpy.types.Context) -> set[str]:
        context.window_manager.canthus.stop = True
        return {"FINISHED"}


CLASSES = (CANTHUS_OT_make, CANTHUS_OT_stop)
