"""Saves the workpiece as a .blend that opens looking at the head.

What stands in it is built here, in the running session, and written out alone; a second Blender process then puts it
into an empty file with the view on the head. So nothing of an open file gets into the .blend, and the open file stays
as it was.
"""

import os
import subprocess
import sys
import tempfile
from pathlib import Path

import bpy
import numpy as np
from mathutils import Vector
from numpy.typing import NDArray

from ...geometry.cloud import Cloud
from ...geometry.errors import BadFile, NotReady
from ...steps.workpiece import Workpiece
from ..scene import scene_piece
from ..scene.own_data import own_data
from ..scene.quiet import quiet
from . import lighting
from .cameras import View, aim, new_camera

_LAY_OUT = """
import sys
import bpy
from mathutils import Quaternion, Vector
loose, saved, x, y, z, width = sys.argv[-6:]
bpy.ops.wm.read_factory_settings(use_empty=True)
scene = bpy.context.scene
scene.unit_settings.system, scene.unit_settings.length_unit = "METRIC", "MILLIMETERS"
scene.unit_settings.scale_length = 0.001
with bpy.data.libraries.load(loose) as (found, wanted):
    wanted.collections, wanted.worlds = found.collections, found.worlds
for collection in wanted.collections:
    scene.collection.children.link(collection)
scene.world = wanted.worlds[0]
scene["canthus_open_tab"] = True  # as in `opening`
roles = {thing.get("canthus_role"): thing for thing in scene.objects}
bpy.context.view_layer.objects.active = roles.get("head") or roles.get("scan")
scene.camera = next(thing for thing in scene.objects if thing.type == "CAMERA")
for screen in bpy.data.screens:
    for area in screen.areas:
        if area.type != "VIEW_3D":
            continue
        space = area.spaces[0]
        space.clip_start, space.clip_end = float(width) / 500, float(width) * 100
        space.show_region_ui = True
        space.shading.color_type = "VERTEX"
        space.shading.show_cavity = True
        space.overlay.show_floor = False
        view = space.region_3d
        view.view_perspective = "PERSP"
        view.view_location = Vector((float(x), float(y), float(z)))
        view.view_rotation = Quaternion((0.7556, 0.6124, 0.1462, 0.1804))  # as in `viewport`
        view.view_distance = 1.6 * float(width)
bpy.ops.wm.save_as_mainfile(filepath=saved, compress=True, check_existing=False)
"""


def save(piece: Workpiece, path: Path) -> None:
    """Write `path`; nothing is left there if it does not come to an end.

    Raises
    ------
    BadFile
        The file cannot be written.
    """
    with tempfile.TemporaryDirectory() as folder:
        loose = Path(folder) / "loose.blend"
        with own_data():
            scene, centre, width = _scene(piece)
            with quiet():
                # Collections and the world, not the scene: host 5.2 crashes on a scene that was never shown.
                bpy.data.libraries.write(str(loose), {*scene.collection.children, scene.world})
        waiting = Path(folder) / "scene.blend"
        _lay_out(loose, waiting, centre, width)
        _move(waiting, path)


def _scene(piece: Workpiece) -> tuple[bpy.types.Scene, Vector, float]:
    """The workpiece, lit, with a camera in front, in millimetres."""
    scene = bpy.data.scenes.new("Canthus")
    scene.unit_settings.scale_length = 0.001
    scene_piece.write_piece(piece, scene)
    low, high = _extent(piece)
    centre, size = Vector((low + high) / 2), float((high - low).max())
    turntable = lighting.studio_light(scene, centre, size, float(low[2]))
    camera = new_camera(scene)
    aim(camera, View("front", "Front", 20, 4, tuple(centre), 1.22 * size))
    turntable.rotation_euler.z = np.radians(20)
    _set_apart(scene)
    return scene, centre, size


def _extent(piece: Workpiece) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Lowest and highest corner of the parts, or of the scan where there is no part yet."""
    shapes = [mesh.vertices for mesh in piece.all_parts().values()]
    if not shapes and piece.scan is not None:
        shapes = [piece.scan.points if isinstance(piece.scan, Cloud) else piece.scan.vertices]
    if not shapes:
        raise NotReady(f"{piece.name} holds nothing to save: load a scan first")
    every = np.concatenate(shapes)
    return every.min(axis=0), every.max(axis=0)


def _set_apart(scene: bpy.types.Scene) -> None:
    """Lights, paper and camera into a collection of their own, the paper out of the way in the viewport."""
    studio = bpy.data.collections.new("Studio")
    scene.collection.children.link(studio)
    for thing in list(scene.collection.objects):
        studio.objects.link(thing)
        scene.collection.objects.unlink(thing)
        thing.hide_viewport = thing.type in ("MESH", "LIGHT", "EMPTY")


def _lay_out(loose: Path, saved: Path, centre: Vector, width: float) -> None:
    script = loose.with_name("lay_out.py")
    script.write_text(_LAY_OUT, encoding="utf-8")
    blender = bpy.app.binary_path
    start = (
        [blender, "--background", "--factory-startup", "--python-exit-code", "1", "--python"]
        if blender
        else [sys.executable]
    )
    arguments = [str(loose), str(saved), *(f"{each:.6g}" for each in centre), f"{width:.6g}"]
    command = [*start, str(script), *(["--"] if blender else []), *arguments]
    outcome = subprocess.run(command, capture_output=True, text=True, check=False)
    if outcome.returncode or not saved.exists():
        words = (outcome.stderr.strip().splitlines() or ["it said nothing"])[-1]
        raise BadFile(f"{saved.name}: the second Blender that lays out the windows failed: {words}")


def _move(waiting: Path, path: Path) -> None:
    """Into place under its final name in one stroke, whichever disk the temporary folder is on."""
    part = path.with_name(path.name + ".part")
    try:
        part.write_bytes(waiting.read_bytes())
        os.replace(part, path)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise BadFile(f"{path}: cannot be written ({error.strerror})") from None
