"""Close-ups of what the check found: each place looked at from where it shows, or cut open, with a ring round it."""

from collections.abc import Callable, Iterator

import bpy
import numpy as np
from mathutils import Vector
from numpy.typing import NDArray

from ...geometry.errors import BadMesh
from ...geometry.mesh import Mesh
from ...job.studio import FINDING
from ...steps.workpiece import GAP, Check, Workpiece
from ..scene import materials
from . import sections
from .cameras import DISTANCE, View, bearings

MOST = 12
LIKED = np.array([-0.45, -1.0, 0.35])
"""From before and a little above, on the sitter's right: how a place is looked at where there is a choice."""
_LIDS = "lids of the "
_THIN = (_LIDS, "least wall", "thin walls", "finer than two pixels")
"""Findings whose picture is a cut through the wall."""
_RING, _LINE = 0.15, 0.006  # radius and half breadth of the ring, over the width of the picture

Add = Callable[[str, Mesh], bpy.types.Object]


def finding_views(piece: Workpiece, parts: dict[str, bpy.types.Object], add: Add) -> Iterator[tuple[View, tuple]]:  # type: ignore[type-arg]
    """The views, grave findings first, and the objects each shows.

    Parameters
    ----------
    piece : with its checks
    parts : the objects that stand for its parts
    add : puts one more mesh on the stage
    """
    for number, check in told(piece.checks):
        shown = [name for name in _named(check) if name in parts]
        if shown:
            yield _view(piece, number, check, shown, parts, add)


def _named(check: Check) -> list[str]:
    """The parts a finding is about: those it names, with the socket an eye's gap is measured to; else the head."""
    subject, _, what = check.name.partition(": ")
    if what == GAP:
        return ["head", subject]
    if what.startswith(_LIDS):
        return ["head", f"eye-{what.removeprefix(_LIDS).split()[0]}"]
    return subject.split(" and ") if what and subject != "vents" else ["head"]


def told(checks: tuple[Check, ...]) -> list[tuple[int, Check]]:
    """The findings that get a picture, with their row among all of them: those that have a place and are not well."""
    found = [(row, check) for row, check in enumerate(checks) if not check.ok and not isinstance(check.where, str)]
    return sorted(found, key=lambda pair: not pair[1].grave)[:MOST]


def _view(
    piece: Workpiece, number: int, check: Check, names: list[str], parts: dict[str, bpy.types.Object], add: Add
) -> tuple[View, tuple[bpy.types.Object, ...]]:
    from ...geometry.views.outlook import outlook  # brings in scipy, which enabling must not wait for

    place = np.asarray(check.where, dtype=np.float64)
    meshes = {name: piece.all_parts()[name] for name in names}
    largest = max(meshes.values(), key=lambda mesh: float(np.ptp(mesh.vertices, axis=0).max()))
    size = float(np.ptp(largest.vertices, axis=0).max())
    thin = any(word in check.name for word in _THIN)
    way, seen = (_along_wall(largest, place), False) if thin else outlook(largest, place, LIKED)
    title = f"{check.name}"
    things = [parts[name] for name in names]
    if not seen:
        cut = _cut_open(meshes, place, way, number, add)
        title += ", cut through" if cut and thin else ", cut open" if cut else ", hidden inside"
        things = cut or things
    width = max(0.14 * size, 4.0) if thin else min(max(0.24 * size, 5.0), 1.2 * size)
    view = View(f"{FINDING}{number}", title, *bearings(way), tuple(place.tolist()), width)
    return view, (*things, _ring(view, number, add))


def _along_wall(mesh: Mesh, place: NDArray[np.float64]) -> NDArray[np.float64]:
    """(3,) the direction along a thin wall in which to look at it cut: square to its thickness, and so that the cut
    ends soonest, across a lid or a rim and not along it.
    """
    from ...geometry.distances.closest import ClosestPoint
    from ...geometry.distances.rays import RayCaster

    reach = 1e-3 + float(np.linalg.norm(mesh.vertices - place, axis=1).min())  # no farther is the surface
    beyond = ((mesh.corners.min(axis=1) > place + reach) | (mesh.corners.max(axis=1) < place - reach)).any(axis=1)
    _, _, nearest = ClosestPoint(mesh.kept(~beyond)).query(place[None])
    through = nearest[0] - place
    through /= max(float(np.linalg.norm(through)), 1e-12)
    side = np.cross(through, np.eye(3)[int(np.argmin(np.abs(through)))])
    turns = np.arange(12)[:, None] * np.pi / 12
    across = np.cos(turns) * side / np.linalg.norm(side) + np.sin(turns) * np.cross(
        through, side / np.linalg.norm(side)
    )
    out, _ = RayCaster(mesh).first_hit(np.tile(place, (24, 1)), np.concatenate([across, -across]))
    soonest = np.minimum(out[:12], out[12:])
    ways = np.cross(through, across)
    liked = np.where(soonest <= 1.02 * soonest.min(), np.abs(ways @ LIKED), -1.0)
    way: NDArray[np.float64] = ways[int(np.argmax(liked))]
    return way if way @ LIKED >= 0 else -way


def _cut_open(
    meshes: dict[str, Mesh], place: NDArray[np.float64], way: NDArray[np.float64], number: int, add: Add
) -> list[bpy.types.Object]:
    """What lies behind the place; nothing where a part is not closed, so that it cannot be cut."""
    from ...geometry.solids.booleans import split

    halves = []
    for name, mesh in meshes.items():
        try:
            behind = split(mesh, place, way)[1]
        except BadMesh:
            return []
        if len(behind.triangles):
            half = add(f"finding {number} {name}", behind)
            sections.paint_plane(half.data, name, place, way)
            halves.append(half)
    return halves


def _ring(view: View, number: int, add: Add) -> bpy.types.Object:
    """A flat ring half-way to the camera, so that nothing lies before it, where it looks `_RING` of the width wide."""
    from ...geometry.solids.primitives import prism

    turns = np.linspace(0, 2 * np.pi, 96, endpoint=False)
    circle = 0.5 * view.width * np.column_stack([np.cos(turns), np.sin(turns)])
    flat = prism(circle * (_RING + _LINE), 0.0, 0.001 * view.width, [circle * (_RING - _LINE)])
    ring = add(f"ring {number}", flat)
    ring.data.materials.clear()
    ring.data.materials.append(materials.marker())
    towards = view.towards
    turn = towards.to_track_quat("Z", "Y").to_matrix().to_4x4()
    turn.translation = Vector(view.target) + 0.5 * DISTANCE * view.width * towards
    ring.data.transform(turn)
    ring.visible_shadow = ring.visible_diffuse = ring.visible_glossy = False
    return ring
