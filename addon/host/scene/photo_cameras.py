"""Solved cameras in the scene: looking through one shows its photograph behind the head."""

from typing import TYPE_CHECKING

import bpy
import numpy as np
from mathutils import Matrix
from numpy.typing import NDArray

from .roles import ROLE, object_with, role_of

if TYPE_CHECKING:
    from ...geometry.photographs.cameras import Camera

CAMERA = "camera/"
SENSOR = 36.0
"""Width of the sensor the lens is written for, mm: that of 35 mm film, as photographers compare lenses."""
_NEAR, _FAR = 0.02, 20.0  # clipping, shares of the camera's distance


def camera_name(image: bpy.types.Image) -> str:
    """The role of a photograph's camera."""
    return f"{CAMERA}{image.name}"


def put_camera(
    collection: bpy.types.Collection, image: bpy.types.Image, camera: "Camera", scale: float, unit: float
) -> bpy.types.Object:
    """The camera of a photograph, new or brought up to date.

    Parameters
    ----------
    collection : of the head
    image : the photograph
    camera : that took it, in millimetres at life size
    scale : of the head as it stands
    unit : millimetres in one unit of the scene
    """
    thing = object_with(collection, camera_name(image))
    if thing is None:
        data = bpy.data.cameras.new(f"Photograph {image.name}")
        thing = bpy.data.objects.new(data.name, data)
        thing[ROLE] = camera_name(image)
        collection.objects.link(thing)
    aim_as(thing, camera, scale / unit)
    thing.data.display_size = 0.05 * float(np.linalg.norm(camera.shift)) * scale / unit
    _put_behind(thing.data, image)
    return thing


def aim_as(thing: bpy.types.Object, camera: "Camera", factor: float) -> None:
    """Let a camera of the host see what `camera` sees, `factor` units of the scene being one of its own."""
    matrix = np.eye(4)
    matrix[:3, :3] = camera.turn.T * np.array([1.0, -1.0, -1.0])  # the host's cameras look along -z, their y is up
    matrix[:3, 3] = camera.place * factor
    thing.parent, thing.matrix_basis = None, Matrix(matrix.tolist())
    data = thing.data
    data.type, data.sensor_fit, data.sensor_width = "PERSP", "HORIZONTAL", SENSOR
    data.lens = camera.focal * SENSOR / camera.size[0]
    width, height = camera.size  # a piece cut out of a picture lies beside the lens's axis
    data.shift_x, data.shift_y = (camera.middle - [width / 2, height / 2]) / width * [-1.0, 1.0]
    distance = float(np.linalg.norm(camera.shift)) * factor
    data.clip_start, data.clip_end = _NEAR * distance, _FAR * distance


def follow(collection: bpy.types.Collection, motion: NDArray[np.float64], unit: float) -> None:
    """Move the cameras of a head along with it, so that they go on seeing it as their photographs show it.

    Parameters
    ----------
    collection : of the head
    motion : (4, 4) similarity by which the head was moved, millimetres
    unit : millimetres in one unit of the scene
    """
    factor = float(np.cbrt(np.linalg.det(motion[:3, :3])))
    for thing in collection.objects:
        if thing.type != "CAMERA" or not role_of(thing).startswith(CAMERA):
            continue
        stood = np.array(thing.matrix_basis)
        stands = np.eye(4)
        stands[:3, :3] = motion[:3, :3] / factor @ stood[:3, :3]
        stands[:3, 3] = motion[:3, :3] @ stood[:3, 3] + motion[:3, 3] / unit
        thing.matrix_basis = Matrix(stands.tolist())
        data = thing.data
        data.clip_start, data.clip_end = data.clip_start * factor, data.clip_end * factor
        data.display_size *= factor


def _put_behind(data: bpy.types.Camera, image: bpy.types.Image) -> None:
    """The photograph fills the camera's frame, behind what is in the scene."""
    data.show_background_images = True
    data.background_images.clear()
    behind = data.background_images.new()
    behind.image, behind.alpha = image, 1.0
    behind.display_depth, behind.frame_method = "BACK", "STRETCH"


def look_through(context: bpy.types.Context, thing: bpy.types.Object, image: bpy.types.Image, over: bool) -> None:
    """Make it the scene's camera, the render of the photograph's size, and show the 3D views through it.

    The photograph lies behind what is in the scene, or over it, half seen through.
    """
    for photograph in thing.data.background_images:
        photograph.display_depth, photograph.alpha = ("FRONT", 0.5) if over else ("BACK", 1.0)
    scene = context.scene
    scene.camera = thing
    scene.render.resolution_x, scene.render.resolution_y = image.size
    scene.render.pixel_aspect_x = scene.render.pixel_aspect_y = 1.0
    for window in context.window_manager.windows:
        for area in window.screen.areas:
            if area.type == "VIEW_3D":
                area.spaces.active.region_3d.view_perspective = "CAMERA"
