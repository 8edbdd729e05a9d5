"""Landmarks over the view: a dot each, red where it is weak and wants looking at, with its name beside it.

Blender draws the empties themselves in one dark line, whatever colour they are given.
"""

import blf
import bpy
import gpu
import numpy as np
from bpy_extras.view3d_utils import location_3d_to_region_2d
from gpu_extras.batch import batch_for_shader
from mathutils import Vector
from numpy.typing import NDArray

from ..steps.workpiece import Landmark
from . import scene_piece
from .wording import title

SURE, WEAK, RIM = (1.0, 0.75, 0.2, 1.0), (0.95, 0.12, 0.08, 1.0), (0.05, 0.05, 0.05, 1.0)
_RADIUS, _RIM = 3.0, 1.2  # pixels at a scale of the interface of 1
_CORNERS = 12
_handle: list[object] = []


def marks_shown(collection: bpy.types.Collection) -> list[tuple[str, Vector, bool]]:
    """Name, place in the scene and weakness of each landmark that can be seen."""
    found = []
    for thing in collection.objects:
        role = scene_piece.role_of(thing)
        if role.startswith("landmark/") and thing.visible_get():
            weak = float(thing.get("confidence", 1.0)) < Landmark.SURE
            found.append((role.removeprefix("landmark/"), thing.matrix_world.translation.copy(), weak))
    return found


def discs(middles: NDArray[np.float64], radius: float) -> NDArray[np.float64]:
    """(n * 36, 2) corners of the triangles of a disc round each of the (n, 2) middles."""
    turn = 2 * np.pi * np.arange(_CORNERS + 1) / _CORNERS
    rim = radius * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    wedge = np.stack([np.zeros((_CORNERS, 2)), rim[:-1], rim[1:]], axis=1)
    return np.asarray((middles[:, None, None] + wedge).reshape(-1, 2))


def draw() -> None:
    """Draw them over the view at hand."""
    context = bpy.context
    collection = scene_piece.piece_collection(context)
    if collection is None or not context.space_data.overlay.show_overlays:
        return
    size = context.preferences.system.ui_scale
    placed = [
        (name, location_3d_to_region_2d(context.region, context.region_data, place), weak)
        for name, place, weak in marks_shown(collection)
    ]
    before = [(name, place, weak) for name, place, weak in placed if place is not None]
    for colour, wanted in ((SURE, False), (WEAK, True)):
        middles = np.array([place[:] for _, place, weak in before if weak == wanted], dtype=np.float64)
        if len(middles):
            _fill(discs(middles, size * (_RADIUS + _RIM)), RIM)
            _fill(discs(middles, size * _RADIUS), colour)
    blf.size(0, 11 * size)
    for name, place, weak in before:
        if weak:
            blf.color(0, 0, 0, 0, 1)
            blf.position(0, place.x + 7 * size, place.y - 5 * size, 0)
            blf.draw(0, title(name))
            blf.color(0, 1, 0.6, 0.55, 1)
            blf.position(0, place.x + 6 * size, place.y - 4 * size, 0)
            blf.draw(0, title(name))


def _fill(corners: NDArray[np.float64], colour: tuple[float, float, float, float]) -> None:
    shader = gpu.shader.from_builtin("UNIFORM_COLOR")
    shader.uniform_float("color", colour)
    batch_for_shader(shader, "TRIS", {"pos": corners.tolist()}).draw(shader)


def register() -> None:
    """Begin to draw them. Without a window there is nothing to draw on."""
    if not bpy.app.background:
        _handle.append(bpy.types.SpaceView3D.draw_handler_add(draw, (), "WINDOW", "POST_PIXEL"))


def unregister() -> None:
    """End it."""
    while _handle:
        bpy.types.SpaceView3D.draw_handler_remove(_handle.pop(), "WINDOW")
