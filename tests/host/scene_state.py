"""What counts in a scene when before is compared with after."""

import bpy
import numpy as np


def positions(thing):
    """(n, 3) float32 of an object's vertices."""
    points = np.empty((len(thing.data.vertices), 3), np.float32)
    thing.data.vertices.foreach_get("co", points.ravel())
    return points


def state():
    """All that counts in the scene, to compare before and after: objects by name, their places, points, records."""
    things = {
        thing.name: (
            thing.matrix_basis.copy().freeze(),
            positions(thing).tobytes() if thing.type == "MESH" else b"",
        )
        for thing in bpy.data.objects
    }
    records = {each.name: str(each.get("canthus", "")) for each in bpy.data.collections}
    return things, records
