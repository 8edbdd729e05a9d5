"""Cameras of marked photographs: solved and put into the scene, and looked through."""

import bpy

from ...geometry.errors import NotPossible
from ...steps.catalogue import step_named
from ...steps.workpiece import Workpiece
from ..buttons.in_place import done_in_place
from ..scene import exchange, photo_cameras, photo_images, scene_piece, states
from ..scene.roles import object_with
from ..scene.settings import step_from, stored
from .photo_operators import IMAGE, image_at_hand


class CANTHUS_OT_solve_cameras(bpy.types.Operator):
    bl_idname = "canthus.solve_cameras"
    bl_label = "Solve Cameras"
    bl_description = "Find where each photograph was taken from, and add its camera with the photograph behind the head"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        if not states.there(cls, context, "piece", "landmarks"):
            return False
        if not photo_images.marked_images():
            cls.poll_message_set("No photograph is marked yet: click on some landmarks first")
            return False
        return True

    def execute(self, context: bpy.types.Context) -> set[str]:
        from ...steps.eyes.photographs import solved  # with it come the heavy libraries

        def work(collection: bpy.types.Collection, piece: Workpiece) -> None:
            place_eyes = step_named("place-eyes")
            globe = step_from(place_eyes, stored(context.scene, place_eyes)).values()["globe"]
            photographs = photo_images.all_marks(None)
            found = solved(piece, photographs, globe / 2, "the open images")
            for note in found.notes:
                self.report({"WARNING"}, note)
            if not found.photographs:
                raise NotPossible("no photograph fits this head: see the warnings")
            unit = exchange.millimetres_per_unit(context.scene)
            for image, photograph in zip(photo_images.marked_images(), photographs, strict=True):
                photo_images.forget_solution(image)
                for seen in found.photographs:
                    if seen.photograph is photograph:
                        photo_cameras.put_camera(collection, image, seen, piece.scale, unit)
                        keep_solution(image, seen)
            worst = max(seen.rms for seen in found.photographs)
            self.report({"INFO"}, f"{len(found.photographs)} cameras solved, reprojection at most {worst:.1f} px RMS")

        return done_in_place(self, context, work)


class CANTHUS_OT_look_through_photo(bpy.types.Operator):
    bl_idname = "canthus.look_through_photo"
    bl_label = "Look Through"
    bl_description = "Show the head through this photograph's camera, the photograph behind it or laid over it"
    bl_options = {"REGISTER", "UNDO"}

    image: IMAGE
    over: bpy.props.BoolProperty(name="Photograph over the Head", description="Lay it over the head, half seen through")

    def execute(self, context: bpy.types.Context) -> set[str]:
        image = image_at_hand(context, self.image)
        collection = scene_piece.piece_collection(context)
        thing = None
        if image is not None and collection is not None:
            thing = object_with(collection, photo_cameras.camera_name(image))
        if thing is None:
            self.report({"ERROR"}, "This photograph has no camera yet: press Solve Cameras first")
            return {"CANCELLED"}
        photo_cameras.look_through(context, thing, image, self.over)
        return {"FINISHED"}


def keep_solution(image: bpy.types.Image, seen: object) -> None:
    """Keep with the image where its solved camera sees the marks, for the overlay."""
    kept = image.canthus_photo
    kept.rms, kept.focal_found, kept.focal_error = seen.rms, seen.camera.focal, seen.focal_error
    for mark in kept.marks:
        mark.is_seen = mark.name in seen.seen
        if mark.is_seen:
            mark.seen = seen.seen[mark.name]


CLASSES = (CANTHUS_OT_solve_cameras, CANTHUS_OT_look_through_photo)
