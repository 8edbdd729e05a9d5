"""What is shown: the scan, the untouched head, the work, all parts; a map on the surface; the place of a finding."""

import bpy
from mathutils import Vector

from ..drawn import maps
from ..scene import exchange, looks, scene_piece, states
from ..scene.needs import first_missing
from . import viewport

_FORMS = [
    ("scan", "Scan", "The scan as cleaned so far"),
    ("skin", "Before", "The closed head before anything was cut into it"),
    ("head", "Head", "The head as it is now"),
    ("parts", "All Parts", "The head with its eyes and other parts"),
]


class CANTHUS_OT_show_form(bpy.types.Operator):
    bl_idname = "canthus.show_form"
    bl_label = "Show"
    bl_description = "Show one form of the head and hide the others"
    bl_options = {"REGISTER", "UNDO"}

    form: bpy.props.EnumProperty(items=_FORMS, name="Form", default="parts", description="What is shown")

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return states.there(cls, context, "piece")

    def execute(self, context: bpy.types.Context) -> set[str]:
        collection = scene_piece.piece_collection(context)
        form = "head" if self.form == "parts" else self.form
        thing = scene_piece.object_with(collection, form)
        if thing is None:
            self.report({"ERROR"}, first_missing((form,), {}))
            return {"CANCELLED"}
        for each in collection.objects:
            role = scene_piece.role_of(each)
            wanted = role == self.form or (self.form == "parts" and (role == "head" or role.startswith("parts/")))
            if role in scene_piece.SHAPES or role.startswith("parts/"):
                each.hide_viewport = each.hide_render = not wanted
        context.view_layer.objects.active = thing
        return {"FINISHED"}


class CANTHUS_OT_before_after(bpy.types.Operator):
    bl_idname = "canthus.before_after"
    bl_label = "Before / After"
    bl_description = "Show the head before anything was cut into it; press again for the work as it is"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return states.there(cls, context, "skin")

    def execute(self, context: bpy.types.Context) -> set[str]:
        skin = scene_piece.object_with(scene_piece.piece_collection(context), "skin")
        return set(bpy.ops.canthus.show_form(form="skin" if skin.hide_viewport else "parts"))


class CANTHUS_OT_show_landmarks(bpy.types.Operator):
    bl_idname = "canthus.show_landmarks"
    bl_label = "Landmarks"
    bl_description = "Show the landmarks, or hide them: once eyes are made they lie in the way"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return states.there(cls, context, "landmarks")

    def execute(self, context: bpy.types.Context) -> set[str]:
        collection = scene_piece.piece_collection(context)
        looks.show_landmarks(collection, not looks.landmarks_shown(collection))
        return {"FINISHED"}


class CANTHUS_OT_show_map(bpy.types.Operator):
    bl_idname = "canthus.show_map"
    bl_label = "Show Map"
    bl_description = "Paint what a step noted at each vertex on the surface, with a legend"
    bl_options = {"REGISTER", "UNDO"}

    column: bpy.props.StringProperty(name="Values", description="Name of the values; empty for the object's own colors")

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        if context.active_object is None or not scene_piece.role_of(context.active_object):
            cls.poll_message_set("Select a head, a scan or a part first")
            return False
        return True

    def execute(self, context: bpy.types.Context) -> set[str]:
        thing = context.active_object
        if not self.column:
            maps.wipe(thing)
        elif self.column not in maps.columns_of(thing):
            known = ", ".join(maps.columns_of(thing)) or "none"
            self.report({"ERROR"}, f'"{thing.name}" has no values called {self.column}: it has {known}')
            return {"CANCELLED"}
        else:
            maps.paint(thing, self.column)
            viewport.show_colours(context)
        return {"FINISHED"}


class CANTHUS_OT_look_at_finding(bpy.types.Operator):
    bl_idname = "canthus.look_at_finding"
    bl_label = "Look There"
    bl_description = "Bring the place of this finding into the middle of the view, marked by the 3D cursor"
    bl_options = {"INTERNAL"}

    number: bpy.props.IntProperty(name="Finding", min=0, description="Its place among the findings, from 0")

    def execute(self, context: bpy.types.Context) -> set[str]:
        collection = scene_piece.piece_collection(context)
        checks = states.facts_shown(collection).get("checks", [])
        if self.number >= len(checks) or not isinstance(checks[self.number]["where"], list):
            self.report({"ERROR"}, "This finding has no place")
            return {"CANCELLED"}
        unit = exchange.millimetres_per_unit(context.scene)
        place = Vector(checks[self.number]["where"]) / unit
        context.scene.cursor.location = place
        way = _outward(collection, checks[self.number]["name"].split(":")[0], place)
        for space in viewport.views(context):
            if way is not None:
                space.region_3d.view_rotation = way.to_track_quat("Z", "Y")
            space.region_3d.view_location = place
            space.region_3d.view_distance = 60 * states.facts_shown(collection).get("scale", 1.0) / unit
        return {"FINISHED"}


def _outward(collection: bpy.types.Collection, part: str, place: Vector) -> Vector | None:
    """The way out of the surface at a finding's place in the scene; None where it faces into the head."""
    thing = scene_piece.object_with(collection, part) or scene_piece.object_with(collection, f"parts/{part}")
    if thing is None or thing.type != "MESH" or not thing.visible_get():
        return None
    matrix = exchange.stands(thing)
    found, near, normal, _ = thing.closest_point_on_mesh(matrix.inverted() @ place)
    if not found:
        return None
    blocked, *_ = thing.ray_cast(near + 1e-3 * max(thing.dimensions[:]) * normal, normal)
    return None if blocked else (matrix.to_3x3() @ normal).normalized()


def forms_of(collection: bpy.types.Collection) -> list[str]:
    """The forms there are to show."""
    there = [form for form, *_ in _FORMS if form != "parts" and scene_piece.object_with(collection, form)]
    return [*there, "parts"] if "head" in there else there


CLASSES = (
    CANTHUS_OT_show_form,
    CANTHUS_OT_before_after,
    CANTHUS_OT_show_landmarks,
    CANTHUS_OT_show_map,
    CANTHUS_OT_look_at_finding,
)
