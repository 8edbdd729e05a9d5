"""A mesh of the scene taken as a part of the head: hair laid on it by hand, for Fit Hair and Key."""

import bpy

from ...geometry.errors import BadMesh
from ...geometry.mesh import Mesh
from ...steps.detail.fit_hair import PART
from ...steps.workpiece import Workpiece
from ..scene import exchange, scene_piece, states
from .in_place import done_in_place


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

        def work(collection: bpy.types.Collection, before: Workpiece) -> None:
            hair = exchange.read_object(thing, exchange.millimetres_per_unit(context.scene))
            if not isinstance(hair, Mesh):
                raise BadMesh(f'"{thing.name}" has no faces: hair is a mesh')
            after = before.but(parts={**before.parts, PART: hair})
            scene_piece.write_piece(after, context.scene, collection, before)
            thing.hide_set(True)
            context.view_layer.objects.active = scene_piece.object_with(collection, "head")
            self.report({"INFO"}, f"{thing.name} is the hair now: Fit Hair fits it, Key keys it to the head")

        return done_in_place(self, context, work)


CLASSES = (CANTHUS_OT_take_hair,)
