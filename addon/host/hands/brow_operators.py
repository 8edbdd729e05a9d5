"""The brows' curves laid on the head, to be dragged before Brows raises the strokes along them."""

import bpy
import numpy as np

from ...geometry.errors import CanthusError
from ...steps.detail.brows import Brows
from ..buttons.piece_operator import told
from ..scene import brow_curves, curves, exchange, scene_piece, states
from ..scene.modes import object_mode
from ..scene.settings import step_from, stored


class CANTHUS_OT_brow_curves(bpy.types.Operator):
    bl_idname = "canthus.brow_curves"
    bl_label = "Lay Brow Curves"
    bl_description = (
        "Lay the brows' edges on the head as curves, where they are found; drag them by their handles, or edit them as "
        "any curve, and Brows follows them. Pressed again, it takes them away"
    )
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return states.ready(cls, context, "head", "landmarks")

    def execute(self, context: bpy.types.Context) -> set[str]:
        collection = scene_piece.piece_collection(context)
        there = brow_curves.things_in(collection)
        if any(not each.hide_viewport for each in there):
            for each in there:
                curves.remove(each)
            return {"FINISHED"}
        for each in there:
            each.hide_viewport = False
        if there:
            return {"FINISHED"}
        try:
            with object_mode(context):
                piece = scene_piece.read_piece(collection, context.scene)
                found = step_from(Brows, stored(context.scene, Brows)).guides(piece)
        except CanthusError as error:
            self.report({"ERROR"}, told(error))
            return {"CANCELLED"}
        edges = {side: tuple(piece.scale * np.asarray(edge) for edge in (guide.upper, guide.lower))
                 for side, guide in found.items()}  # fmt: skip
        brow_curves.put(collection, edges, exchange.millimetres_per_unit(context.scene))
        self.report({"INFO"}, "Drag Handles draws the brow curves along the skin; Brows follows them")
        return {"FINISHED"}


CLASSES = (CANTHUS_OT_brow_curves,)
