"""A stand-in for a head, and what counts in a scene when before is compared with after."""

import bpy
import numpy as np
from canthus.geometry.mesh import Mesh
from canthus.geometry.solids import icosphere
from canthus.steps.workpiece import Eye, Landmark, Workpiece


def egg(subdivisions=4, name="egg"):
    """An egg of a head's size with two landmarks and two eyes. No face: what steps do is tested elsewhere."""
    ball = icosphere(subdivisions, 1.0)
    head = Mesh(ball.vertices * np.array([75.0, 95.0, 115.0]) + 1 / 3, ball.triangles)
    eyes = tuple(
        Eye(side, (x, -82.0, 10.1), diameter=24.1, clearance=0.3, sources=("lids",), opening=np.eye(3) / 3)
        for side, x in (("left", 32.3), ("right", -32.3))
    )
    parts = {f"eye-{eye.side}": Mesh(ball.vertices * 12 + np.array(eye.centre), ball.triangles) for eye in eyes}
    marks = {"sellion": Landmark((0.1, -95.2, 15.3)), "pronasale": Landmark((0.2, -117.7, -28.9), 0.3, "proposed")}
    return Workpiece(name, head=head, skin=head, landmarks=marks, eyes=eyes, parts=parts, notes=("made by hand",))


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
