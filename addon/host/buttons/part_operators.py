"""A mesh of the scene taken as a part of the head: hair laid on it by hand, for Fit Hair and Key."""

import bpy

from ...geometry.errors import BadMesh, CanthusError
from ...geometry.mesh import Mesh
from ...steps.detail.fit_hair import PART
from ..scene import exchange, scene_piece, states
from ..scene.modes import object_mode
from .piece_operator import told


class CANTHUS_OT_take_hair(bpy.types.Operator):
    bl_idname = "canthus.take_hair"
    bl_label = "Take Selected as Hair"
    bl_description = "Take a copy of the selected mesh, as it lies on the head, as its hair; Fit Hair then refits it"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return states.ready(cls, context, "head") and states.free_mesh_active(cls, context, "the mesh of the hair")

    def execute(self, context: bpy.types.Context) -> set[str]:
        thing = context.object
        try:
            with object_mode(context):
                collection = scene_piece.piece_collection(context)
                hair = exchange.read_object(thing, exchange.millimetres_per_unit(context.scene))
                if not isinstance(hair, Mesh):
                    raise BadMesh(f'"{thing.name}" has no faces: hair is a mesh')
                before = scene_piece.read_piece(collection, context.scene)
                after = before.but(parts={**before.parts, PART: hair})
                scene_piece.write_piece(after, context.scene, collection, before)
                thing.hide_set(True)
                context.view_layer.objects.active = scene_piece.object_with(collection, "head")
        except CanthusError as error:
            self.report({"ERROR"}, told(error))
            return {"CANCELLED"}
        self.report({"INFO"}, f"{thing.name} is the hair now: Fit Hair fits it, Key keys it to the head")
        return {"FINISHED"}


CLASSES = (CANTHUS_OT_take_hair,)
