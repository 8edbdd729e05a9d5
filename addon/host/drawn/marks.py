"""Landmarks over the view: a dot each, red where it is weak and wants looking at, with its name beside it.

Blender draws the empties themselves in one dark line, whatever colour they are given.
"""

import bpy
import numpy as np
from bpy_extras.view3d_utils import location_3d_to_region_2d
from mathutils import Vector

from ...steps.workpiece import Landmark
from ..scene import scene_piece
from ..scene.wording import title
from . import drawing

SURE, WEAK, WEAK_NAME = (1.0, 0.75, 0.2, 1.0), (0.95, 0.12, 0.08, 1.0), (1.0, 0.6, 0.55, 1.0)
_RADIUS, _RIM = 3.0, 1.2  # pixels at a scale of the interface of 1


def marks_shown(collection: bpy.types.Collection) -> list[tuple[str, Vector, bool]]:
    """Name, place in the scene and weakness of each landmark that can be seen."""
    found = []
    for thing in collection.objects:
        role = scene_piece.role_of(thing)
        if role.startswith("landmark/") and thing.visible_get():
            weak = float(thing.get("confidence", 1.0)) < Landmark.SURE
            found.append((role.removeprefix("landmark/"), thing.matrix_world.translation.copy(), weak))
    return found


def draw() -> None:
    """Draw them over the view at hand."""
    context = bpy.context
    collection = scene_piece.piece_collection(context)
    if collection is None or not context.space_data.overlay.show_overlays:
        return
    size = drawing.ui_scale()
    placed = [
        (name, location_3d_to_region_2d(context.region, context.region_data, place), weak)
        for name, place, weak in marks_shown(collection)
    ]
    before = [(name, place, weak) for name, place, weak in placed if place is not None]
    for colour, wanted in ((SURE, False), (WEAK, True)):
        middles = np.array([place[:] for _, place, weak in before if weak == wanted], dtype=np.float64)
        if len(middles):
            drawing.fill(drawing.discs(middles, size * (_RADIUS + _RIM)), drawing.RIM)
            drawing.fill(drawing.discs(middles, size * _RADIUS), colour)
    for name, place, weak in before:
        if weak:
            drawing.words(title(name), place.x + 6 * size, place.y - 4 * size, WEAK_NAME)


DRAWN = drawing.Drawn(over=draw)
