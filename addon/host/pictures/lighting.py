"""The studio: one large soft key light, a fill, a light on the far edge, and a sweep of paper underneath.

Everything hangs on one empty that turns with the camera, so that each view is lit alike, as on a turntable.
"""

import math

import bpy
import numpy as np
from mathutils import Vector

from ..scene import materials

# (direction from the subject in the camera's own frame: right, away, up), size and power for a subject of length 1
_LIGHTS = {
    "Key": ((-1.15, -1.35, 1.25), 1.5, 52.0),
    "Fill": ((1.7, -1.3, 0.25), 2.2, 13.0),
    "Edge": ((0.9, 1.5, 1.1), 1.0, 26.0),
}


def studio_light(scene: bpy.types.Scene, centre: Vector, size: float, floor: float) -> bpy.types.Object:
    """Light a subject `size` long at `centre` that stands at height `floor`. Returns the empty the rig turns on."""
    turntable = bpy.data.objects.new("Canthus Turntable", None)
    turntable.location = centre
    scene.collection.objects.link(turntable)
    for name, (direction, breadth, power) in _LIGHTS.items():
        data = bpy.data.lights.new(f"Canthus {name}", "AREA")
        data.shape, data.size, data.energy = "DISK", breadth * size, power * size**2
        light = bpy.data.objects.new(data.name, data)
        light.location = Vector(direction) * size
        light.rotation_euler = (-Vector(direction)).to_track_quat("-Z", "Y").to_euler()
        light.parent = turntable
        scene.collection.objects.link(light)
    _hang_paper(scene, turntable, size, floor - centre.z)
    scene.world = _grey_room()
    return turntable


def _grey_room() -> bpy.types.World:
    world = bpy.data.worlds.new("Canthus Room")
    if bpy.app.version < (5, 0, 0):
        world.use_nodes = True
    light = next(node for node in world.node_tree.nodes if node.type == "BACKGROUND")
    light.inputs["Color"].default_value = (0.55, 0.57, 0.60, 1)
    light.inputs["Strength"].default_value = 0.28
    return world


def _hang_paper(scene: bpy.types.Scene, turntable: bpy.types.Object, size: float, floor: float) -> None:
    """A floor that sweeps up behind the subject, so that no horizon is seen."""
    bend, depth, height = 2.0 * size, 2.2 * size, 9.0 * size
    angles = np.linspace(0, math.pi / 2, 24)
    away = np.concatenate([[-6 * size], depth + bend * np.sin(angles), [depth + bend]])
    up = np.concatenate([[0.0], bend * (1 - np.cos(angles)), [height]]) + floor
    rows = [[(x, y, z) for y, z in zip(away, up, strict=True)] for x in (-9 * size, 9 * size)]
    count = len(away)
    faces = [(k, k + count, k + count + 1, k + 1) for k in range(count - 1)]
    data = bpy.data.meshes.new("Canthus Paper")
    data.from_pydata([*rows[0], *rows[1]], [], faces)
    data.shade_smooth()
    data.materials.append(materials.paper())
    sheet = bpy.data.objects.new(data.name, data)
    sheet.parent = turntable
    scene.collection.objects.link(sheet)
