"""Small workpieces that steps can work on, made from formulas: an egg, an egg on a neck, a coarse demo head.

`piece_for` gives each step of the catalogue one on which it comes to an end, `settings_for` what makes it quick there.
"""

import functools
from dataclasses import replace

import numpy as np
from canthus.geometry.cloud import Cloud, joined
from canthus.geometry.clouds.normals import vertex_normals
from canthus.geometry.mesh import Mesh
from canthus.geometry.solids.booleans import difference, union
from canthus.geometry.solids.primitives import box, cylinder, icosphere, sphere
from canthus.job.run import run
from canthus.steps.catalogue import step_named
from canthus.steps.workpiece import Eye, Landmark, Workpiece
from demo_heads import demo_head

COARSE = {
    "hollow": {"cell": 0.5, "wall": 2.0},
    "close": {"resolution": 4.0},
    "fit-base": {"level": 0},
    "relief": {"edge": 3.0},
    "brows": {"width": 2.5, "taper": 100.0, "density": 8.0, "sides": "left"},
}
"""Settings that make a step quick; what it makes with finer ones is tested in its own place."""


def piece_for(step):
    """A workpiece the step named `step` comes to an end on."""
    if step == "register":
        return two_passes()
    if step in ("load", "assess", "cull-strays", "cull-lashes", "merge-layers", "denoise", "close"):
        return sitter("captured")
    if step == "landmarks":
        return sitter("closed").but(landmarks={})
    if step == "patch":
        return with_a_hole()
    if step in ("pose", "measure", "scale", "drop-islands", "smooth", "reduce", "fit-base", "relief", "brows"):
        return sitter("closed")
    if step == "place-eyes":
        return sitter("scaled")
    if step == "rebuild-lids":
        return sitter("eyed")
    if step == "fit-hair":
        return bust().but(parts={"hair": hair_cap()})
    return bust()


def settings_for(step, folder):
    """Settings that make it quick; `folder` is where a step that writes files of its own may write them."""
    own = {"export": {"folder": str(folder / "parts")}, "landmarks": {"save": str(folder / "marks.json")}}
    return {**COARSE.get(step, {}), **own.get(step, {})}


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


def hair_cap(scale=1 / 6):
    """A cap 6 mm thick made for a somewhat smaller egg, roughly where the bust's crown is."""
    ball = icosphere(4, 1.0).vertices
    outer, inner = (Mesh(ball * np.array(radii), icosphere(4).triangles) for radii in ((80, 98, 118), (74, 92, 112)))
    cap = difference(outer, inner, box((-200, -200, -200), (200, 200, 30)))
    return cap.moved(np.diag([scale, scale, scale, 1.0]))


def opening(centre):
    """(24, 3) curve round an eye's front, as long and high as a fissure: 20 by 10 mm, on a globe of 12."""
    turn = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    across, up = 10 * np.cos(turn), 5 * np.sin(turn)
    return np.asarray(centre) + np.stack([across, -np.sqrt(12.05**2 - across**2 - up**2), up], axis=1)


def bust(scale=1 / 6):
    """An egg on a neck at print size, with a scan of it, eyes and sockets to be: enough for the later steps."""
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


@functools.cache
def sitter(stage):
    """The demo head on a coarse grid, its landmarks known: "captured", "closed", "scaled" or "eyed"."""
    if stage == "captured":
        head = demo_head(0, 2.5)
        marks = {name: Landmark(tuple(place.tolist())) for name, place in head.truth.landmarks.items()}
        return Workpiece("sitter", scan=_points_of(head.mesh), landmarks=marks)
    before, step = {
        "closed": ("captured", step_named("close")(resolution=2.5)),
        "scaled": ("closed", step_named("scale")()),
        "eyed": ("scaled", step_named("place-eyes")()),
    }[stage]
    return run([step], sitter(before)).but(history=(), notes=())


def with_a_hole():
    """The closed head with a hole in the back of it."""
    piece = sitter("closed")
    back = np.array([0.0, float(piece.head.vertices[:, 1].max()), 40.0])
    away = np.linalg.norm(piece.head.corners - back, axis=2).min(axis=1) > 12
    return piece.but(head=piece.head.kept(away))


def two_passes():
    """The front and the side of the capture as two passes that meet, the second a little out of place."""
    cloud = sitter("captured").scan
    front, side = cloud.kept(cloud.points[:, 1] < 20), cloud.kept(cloud.points[:, 0] > -30)
    return Workpiece("sitter", scan=joined([front, replace(side, points=side.points + np.array([1.0, 0.5, -0.5]))]))


def _points_of(mesh):
    """One vertex in three, as points with normals and colours."""
    cloud = Cloud(mesh.vertices, vertex_normals(mesh), mesh.colours)
    return cloud.kept(np.arange(0, len(cloud), 3))
