"""Cameras of marked photographs: solved and put into the scene, and looked through."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import bpy
import numpy as np

from ...geometry.photographs.cameras import Camera
from ...job.errands import SolveCameras
from ...steps.catalogue import step_named
from ...steps.step import Step
from ...steps.workpiece import Workpiece
from ..buttons.beside import beside_wanted
from ..buttons.piece_operator import PieceOperator
from ..scene import exchange, photo_cameras, photo_images, scene_piece, states
from ..scene.new_shapes import NewShapes
from ..scene.roles import object_with
from ..scene.settings import step_from, stored
from ..scene.wording import as_shown
from .photo_operators import IMAGE, image_at_hand


class CANTHUS_OT_solve_cameras(PieceOperator, bpy.types.Operator):
    bl_idname = "canthus.solve_cameras"
    bl_label = "Solve Cameras"
    bl_description = "Find where each photograph was taken from, and add its camera with the photograph behind the head"
    bl_options = {"UNDO"}
    steps_named = SolveCameras.NAME

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        if not states.ready(cls, context, "piece", "landmarks"):
            return False
        if not photo_images.marked_images():
            cls.poll_message_set("No photograph is marked yet: click on some landmarks first")
            return False
        return True

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        return self.begin_work(context) if beside_wanted(context) else self.execute(context)

    def steps_to_run(self, context: bpy.types.Context) -> list[Step]:
        """The marks cross over in a file of their own."""
        path = Path(bpy.app.tempdir) / "canthus.to-solve.json"
        photo_images.write_marks(path)
        place_eyes = step_named("place-eyes")
        globe = step_from(place_eyes, stored(context.scene, place_eyes)).values()["globe"]
        return [SolveCameras(photographs=str(path), globe=globe)]

    def put_back(
        self,
        context: bpy.types.Context,
        collection: bpy.types.Collection,
        before: Workpiece,
        after: Workpiece,
        new: NewShapes | None = None,
    ) -> None:
        """Only the cameras are new."""
        images, marked = photo_images.marked_images(), photo_images.all_marks(None)
        unit = exchange.millimetres_per_unit(context.scene)
        for image in images:
            photo_images.forget_solution(image)
        for seen in after.history[-1].figures["cameras"]:
            image, picture = images[seen["row"]], marked[seen["row"]].picture
            camera = Camera(np.array(seen["turn"]), np.array(seen["shift"]), seen["focal"], picture)
            photo_cameras.put_camera(collection, image, camera, before.scale, unit)
            keep_solution(image, seen)

    def tell(self, before: Workpiece, after: Workpiece) -> None:
        for note in after.notes[len(before.notes) :]:
            self.report({"WARNING"}, as_shown(note))
        cameras = after.history[-1].figures["cameras"]
        worst = max(seen["rms"] for seen in cameras)
        self.report({"INFO"}, f"{len(cameras)} cameras solved, reprojection at most {worst:.1f} px RMS")


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


def keep_solution(image: bpy.types.Image, seen: Mapping[str, Any]) -> None:
    """Keep with the image where its solved camera sees the marks, for the overlay."""
    kept = image.canthus_photo
    kept.rms, kept.focal_found, kept.focal_error = seen["rms"], seen["focal"], seen["focal_error"]
    for mark in kept.marks:
        mark.is_seen = mark.name in seen["seen"]
        if mark.is_seen:
            mark.seen = seen["seen"][mark.name]


CLASSES = (CANTHUS_OT_solve_cameras, CANTHUS_OT_look_through_photo)
