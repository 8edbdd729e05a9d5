"""Lid margins as closed curves in the scene: to be dragged by their handles, or edited as any curve."""

import bpy
import numpy as np
from numpy.typing import NDArray

HANDLES = 16
"""Handles on each margin: few enough to take hold of one, enough for a lid's form."""
COLOUR = (0.2, 1.0, 0.75, 1.0)


def new_curve(name: str, places: NDArray[np.float64]) -> bpy.types.Curve:
    """A closed line through (k, 3) places in the scene's units."""
    data = bpy.data.curves.new(name, "CURVE")
    data.dimensions = "3D"
    line = data.splines.new("POLY")
    line.points.add(len(places) - 1)
    line.use_cyclic_u = True
    _write(line, places)
    return data


def places_of(thing: bpy.types.Object) -> NDArray[np.float64]:
    """(k, 3) places of the line in the scene's units, as the object stands; none where the line is gone."""
    lines = [each for each in thing.data.splines if each.type == "POLY"] if thing.type == "CURVE" else []
    if not lines:
        return np.zeros((0, 3))
    flat = np.empty(4 * len(lines[0].points), np.float32)
    lines[0].points.foreach_get("co", flat)
    places = flat.reshape(-1, 4)[:, :3].astype(np.float64)
    matrix = np.array(thing.matrix_basis)
    return np.asarray(places @ matrix[:3, :3].T + matrix[:3, 3])


def put_places(thing: bpy.types.Object, places: NDArray[np.float64]) -> None:
    """Move the points of the line to (k, 3) places in the scene's units."""
    back = np.linalg.inv(np.array(thing.matrix_basis))
    _write(thing.data.splines[0], places @ back[:3, :3].T + back[:3, 3])
    thing.data.update_tag()


def handle_rows(places: NDArray[np.float64]) -> list[int]:
    """Which of a margin's (k, 3) points carry a handle: evenly spaced along it, in whatever way its points are."""
    if not len(places):
        return []
    along = np.cumsum(np.linalg.norm(np.roll(places, -1, axis=0) - places, axis=1))
    wanted = along[-1] * (np.arange(HANDLES) + 0.5) / HANDLES
    return [int(row) for row in np.unique(np.searchsorted(along, wanted))]


def _write(line: bpy.types.Spline, places: NDArray[np.float64]) -> None:
    line.points.foreach_set("co", np.column_stack([places, np.ones(len(places))]).astype(np.float32).ravel())
