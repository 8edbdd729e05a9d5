"""A stand-in for a head, and what counts in a scene when before is compared with after."""

import bpy
import numpy as np
from canthus.geometry.booleans import union
from canthus.geometry.cloud import Cloud
from canthus.geometry.mesh import Mesh
from canthus.geometry.solids import cylinder, icosphere, sphere
from canthus.steps.workpiece import Eye, Landmark, Workpiece


def egg(subdivisions=4, name="egg"):
    """An egg of a head's size with two landmarks and two eyes. No face: what steps do is tested elsewhere."""
    ball = icosphere(subdivisions, 1.0)
    head = Mesh(ball.vertices * np.array([75.0, 95.0, 115.0]) + 1 / 3, ball.triangles)
    eyes = tuple(
        Eye(side, (x, -82.0, 10.1), diameter=24.1, clearance=0.3, sources=("lids",), opening=opening((x, -82.0, 10.1)))
        for side, x in (("left", 32.3), ("right", -32.3))
    )
    parts = {f"eye-{eye.side}": Mesh(ball.vertices * 12 + np.array(eye.centre), ball.triangles) for eye in eyes}
    marks = {"sellion": Landmark((0.1, -95.2, 15.3)), "pronasale": Landmark((0.2, -117.7, -28.9), 0.3, "proposed")}
    return Workpiece(name, head=head, skin=head, landmarks=marks, eyes=eyes, parts=parts, notes=("made by hand",))


def opening(centre):
    """(24, 3) curve round an eye's front, as long and high as a fissure: 20 by 10 mm, on a globe of 12."""
    turn = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    across, up = 10 * np.cos(turn), 5 * np.sin(turn)
    return np.asarray(centre) + np.stack([across, -np.sqrt(12.05**2 - across**2 - up**2), up], axis=1)


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


def bust(scale=1 / 6):
    """An egg on a neck at print size, with a scan of it, eyes and sockets to be: enough for every step to bite on."""
    piece = egg(4)
    body = union(piece.head, cylinder((0, 5, -190), (0, 5, -60), 52, sag=0.3), sphere(14, (0, -92, -20), sag=0.3))
    rng = np.random.default_rng(5)
    corners = body.corners
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    areas = np.linalg.norm(across, axis=1)
    chosen = rng.choice(len(corners), 9000, p=areas / areas.sum())
    points = np.einsum("nc,ncx->nx", rng.dirichlet((1, 1, 1), 9000), corners[chosen])
    matrix = np.diag([scale, scale, scale, 1.0])
    return (
        piece.but(scan=Cloud(points, across[chosen] / areas[chosen, None]), head=body, skin=body, parts={})
        .moved(matrix)
        .but(scale=scale)
    )
