"""Where the camera stands for each picture."""

import math
from dataclasses import dataclass

import bpy
import numpy as np
from mathutils import Vector
from numpy.typing import NDArray

LENS_ANGLE = math.radians(14)
"""Angle of view, about that of a portrait lens of 140 mm: a nose drawn without swelling."""
DISTANCE = 0.5 / math.tan(LENS_ANGLE / 2)
"""From the camera to what it looks at, over the width it sees there."""


@dataclass(frozen=True)
class View:
    """One picture to take: where the camera stands and how much it sees.

    It is turned round the subject by `azimuth` (0 the face, 90 the sitter's left) and up by `elevation`, degrees.
    `target` is the point looked at and `width` how much the picture shows there, in millimetres.
    """

    name: str
    title: str
    azimuth: float
    elevation: float
    target: tuple[float, float, float]
    width: float

    @property
    def tilt(self) -> float:
        """Degrees by which lights and paper go up with the camera, so that what it sees from high up or from below is
        lit as the rest; not at all where it stands about level.
        """
        return 0.0 if abs(self.elevation) <= 15 else self.elevation - 10.0

    def before_all(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n, 3) points brought half-way to the camera: seen where they were and half as large, nothing before them."""
        camera = np.asarray(self.target) + DISTANCE * self.width * np.array(self.towards)
        nearer: NDArray[np.float64] = camera + 0.5 * (points - camera)
        return nearer

    @property
    def towards(self) -> Vector:
        """Unit vector from the target to the camera."""
        turn, lift = math.radians(self.azimuth), math.radians(self.elevation)
        return Vector((math.sin(turn) * math.cos(lift), -math.cos(turn) * math.cos(lift), math.sin(lift)))


def bearings(way: NDArray[np.float64]) -> tuple[float, float]:
    """Azimuth and elevation, degrees, of a camera that stands off along the (3,) unit vector `way`."""
    x, y, z = way.tolist()
    return math.degrees(math.atan2(x, -y)), math.degrees(math.asin(max(-1.0, min(1.0, z))))


def new_camera(scene: bpy.types.Scene) -> bpy.types.Object:
    """The scene's camera."""
    data = bpy.data.cameras.new("Canthus Camera")
    data.angle = LENS_ANGLE
    camera = bpy.data.objects.new(data.name, data)
    scene.collection.objects.link(camera)
    scene.camera = camera
    return camera


def aim(camera: bpy.types.Object, view: View) -> None:
    """Stand the camera so that `view.width` fills the picture."""
    distance = view.width * DISTANCE
    camera.location = Vector(view.target) + view.towards * distance
    camera.rotation_euler = view.towards.to_track_quat("Z", "Y").to_euler()
    camera.data.clip_start, camera.data.clip_end = distance * 0.05, distance * 30
