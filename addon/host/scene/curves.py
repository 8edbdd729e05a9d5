"""Lines drawn by hand as curves in the scene: to be dragged by their handles, or edited as any curve.

Lid margins are closed, the edges of brows are open.
"""

import bpy
import numpy as np
from numpy.typing import NDArray

HANDLES = {True: 16, False: 7}
"""Handles on a closed line and on an open one: few enough to take hold of one, enough for a lid's form or a brow's."""
COLOUR = (0.2, 1.0, 0.75, 1.0)
LINES = ("margin/", "brow/")
"""What the roles of such lines begin with."""


def new_curve(name: str, places: NDArray[np.float64], closed: bool = True) -> bpy.types.Curve:
    """A line through (k, 3) places in the scene's units."""
    data = bpy.data.curves.new(name, "CURVE")
    data.dimensions = "3D"
    line = data.splines.new("POLY")
    line.points.add(len(places) - 1)
    line.use_cyclic_u = closed
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


def is_closed(thing: bpy.types.Object) -> bool:
    """Whether the line's last point is joined to its first."""
    return any(each.type == "POLY" and each.use_cyclic_u for each in thing.data.splines)


def put_places(thing: bpy.types.Object, places: NDArray[np.float64]) -> None:
    """Move the points of the line to (k, 3) places in the scene's units."""
    back = np.linalg.inv(np.array(thing.matrix_basis))
    _write(thing.data.splines[0], places @ back[:3, :3].T + back[:3, 3])
    thing.data.update_tag()


def remove(thing: bpy.types.Object) -> None:
    """Take the line out of the scene, and its data if nothing else shows it."""
    data = thing.data
    bpy.data.objects.remove(thing)
    if data.users == 0:
        bpy.data.curves.remove(data)


def handle_rows(places: NDArray[np.float64], closed: bool = True) -> list[int]:
    """Which of a line's (k, 3) points carry a handle: evenly spaced along it, in whatever way its points are."""
    if not len(places):
        return []
    steps = np.linalg.norm(np.roll(places, -1, axis=0) - places, axis=1)
    if closed:
        along, wanted = np.cumsum(steps), (np.arange(HANDLES[True]) + 0.5) / HANDLES[True]
    else:
        along, wanted = np.concatenate([[0.0], np.cumsum(steps[:-1])]), np.linspace(0.0, 1.0, HANDLES[False])
    return [int(row) for row in np.unique(np.searchsorted(along, wanted * along[-1]))]


def _write(line: bpy.types.Spline, places: NDArray[np.float64]) -> None:
    line.points.foreach_set("co", np.column_stack([places, np.ones(len(places))]).astype(np.float32).ravel())
