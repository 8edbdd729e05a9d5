"""The brows' curves laid on the head, to be dragged before Brows raises the strokes along them."""

import bpy
import numpy as np

from ...job.errands import BrowEdges
from ...steps.detail.brows import Brows
from ...steps.step import Step
from ...steps.workpiece import Workpiece
from ..buttons.beside import beside_wanted
from ..buttons.piece_operator import PieceOperator
from ..scene import brow_curves, curves, exchange, scene_piece, states
from ..scene.new_shapes import NewShapes
from ..scene.settings import step_from, stored


class CANTHUS_OT_brow_curves(PieceOperator, bpy.types.Operator):
    bl_idname = "canthus.brow_curves"
    bl_label = "Lay Brow Curves"
    bl_description = (
        "Lay the brows' edges on the head as curves, where they are found; drag them by their handles, or edit them as "
        "any curve, and Brows follows them. Pressed again, it takes them away"
    )
    bl_options = {"UNDO"}
    steps_named = BrowEdges.NAME

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return states.ready(cls, context, "head", "landmarks")

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        at_once = bool(brow_curves.things_in(scene_piece.piece_collection(context)))
        return self.begin_work(context) if beside_wanted(context) and not at_once else self.execute(context)

    def execute(self, context: bpy.types.Context) -> set[str]:
        there = brow_curves.things_in(scene_piece.piece_collection(context))
        if any(not each.hide_viewport for each in there):
            for each in there:
                curves.remove(each)
            return {"FINISHED"}
        for each in there:
            each.hide_viewport = False
        return {"FINISHED"} if there else super().execute(context)

    def steps_to_run(self, context: bpy.types.Context) -> list[Step]:
        return [BrowEdges.made_from(step_from(Brows, stored(context.scene, Brows)).values())]

    def put_back(
        self,
        context: bpy.types.Context,
        collection: bpy.types.Collection,
        before: Workpiece,
        after: Workpiece,
        new: NewShapes | None = None,
    ) -> None:
        """Only the curves are new."""
        edges = after.history[-1].figures["edges"]
        brows = {side: tuple(np.array(edge) for edge in each) for side, each in edges.items()}
        brow_curves.put(collection, brows, exchange.millimetres_per_unit(context.scene))

    def tell(self, before: Workpiece, after: Workpiece) -> None:
        self.report({"INFO"}, "Drag Handles draws the brow curves along the skin; Brows follows them")


CLASSES = (CANTHUS_OT_brow_curves,)
