"""Sections through what can be seen: the lines where a plane meets it, and where a wall to come would end."""

import bpy
import numpy as np
from numpy.typing import NDArray

from ...geometry.mesh import Mesh
from ..scene import exchange, scene_piece
from . import shapes
from .shapes import Overlay

SECTION, WALL = (1.0, 0.85, 0.2, 1.0), (0.35, 0.85, 1.0, 1.0)
AXES = [
    ("x", "From the Side", "Cut along the middle of the face"),
    ("y", "From the Front", "Cut from ear to ear"),
    ("z", "From Above", "Cut level"),
]
Vectors = NDArray[np.float64]


def section(collection: bpy.types.Collection, axis: str, at: float) -> list[Overlay]:
    """Ends of the lines in which a plane across the head meets the visible shapes."""
    seen = [shapes.kept_shape(thing) for thing in shapes.solids(collection)]
    if not seen:
        return []
    up, level = _plane(seen, axis, at)
    unit = exchange.millimetres_per_unit(bpy.context.scene)
    words = f"section at {axis} = {round(level * unit, 1) + 0.0:.1f} mm"
    return [Overlay(words, SECTION, outline_on(collection, level * up, up))]


def wall_to_come(collection: bpy.types.Collection, axis: str, at: float, wall: float) -> list[Overlay]:
    """Ends of the lines in which the same plane would meet the inner face of a wall of so many millimetres."""
    head = scene_piece.object_with(collection, "head")
    seen = [shapes.kept_shape(thing) for thing in shapes.solids(collection)]
    if head is None or not head.visible_get() or not seen:
        return []
    up, level = _plane(seen, axis, at)
    depth = wall / exchange.millimetres_per_unit(bpy.context.scene)
    ends = shapes.latest(
        head, "wall", (axis, level, depth), lambda: _inset(shapes.kept_shape(head), level * up, axis, depth)
    )
    return [Overlay(f"inner face with a wall of {wall:g} mm, before narrow places are filled", WALL, ends)]


def outline_on(collection: bpy.types.Collection, origin: Vectors, up: Vectors) -> Vectors:
    """(2 n, 3) ends of the lines in which a plane meets the visible shapes, all in the scene's units."""
    ends = [
        shapes.latest(thing, "outline", (*origin, *up), lambda each=thing: _crossing(each, origin, up))
        for thing in shapes.solids(collection)
    ]
    return np.concatenate([np.zeros((0, 3)), *ends])


def _plane(seen: list[Mesh], axis: str, at: float) -> tuple[Vectors, float]:
    """The direction of an axis, and how far along it a share of the shapes' extent lies."""
    row = "xyz".index(axis)
    low = min(float(each.vertices[:, row].min()) for each in seen)
    high = max(float(each.vertices[:, row].max()) for each in seen)
    return np.eye(3)[row], low + at * (high - low)


def _crossing(thing: bpy.types.Object, origin: Vectors, up: Vectors) -> Vectors:
    from ...geometry.solids.slices import crossing  # with it come the heavy libraries, which enabling must not wait for

    return crossing(shapes.kept_shape(thing), origin, up)


def _inset(head: Mesh, origin: Vectors, axis: str, depth: float) -> Vectors:
    from ...geometry.solids.sections import Plane
    from ...geometry.solids.slices import inset_crossing

    across, along = np.roll(np.eye(3), -1 - "xyz".index(axis), axis=0)[:2]  # the other two, right-handed with it
    return inset_crossing(head, Plane(origin, across, along), depth)
