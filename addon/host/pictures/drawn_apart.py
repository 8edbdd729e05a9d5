"""The parts drawn apart along the ways they go together, numbered in the order of the work."""

from collections.abc import Callable

import bpy
import numpy as np
from mathutils import Vector
from numpy.typing import NDArray

from ...geometry.mesh import Mesh
from ...job.assembly import numbers
from ...steps.workpiece import Workpiece
from ..scene import materials
from .cameras import View

Add = Callable[[str, Mesh], bpy.types.Object]
_LINE, _DASHES = 0.004, 9  # breadth of a way's line over the head's size, and the dashes it is drawn in
_AZIMUTH, _ELEVATION = 24.0, 15.0


def drawn_apart(
    piece: Workpiece, parts: dict[str, bpy.types.Object], add: Add
) -> tuple[View, tuple[bpy.types.Object, ...], dict[str, Vector]]:
    """The view, what it shows, and how far each part is moved.

    Parameters
    ----------
    piece : with its parts and its history, which tells how they go together
    parts : the objects that stand for the parts
    add : puts one more mesh on the stage
    """
    meshes = piece.all_parts()
    shifts = {name: shift for name, shift in shifts_of(piece).items() if name in parts}
    seats = {name: _corners(meshes[name]) for name in parts}
    rise = _rise(seats, shifts)
    moved = {parts[name].name: Vector(shift + rise) for name, shift in shifts.items()}
    corners = {name: seats[name] + shifts[name] + rise for name in parts}
    every = np.concatenate(list(corners.values()))
    low, high = every.min(axis=0), every.max(axis=0)
    width = 1.16 * float((high - low).max())
    title = "The parts drawn apart, numbered in the order in which they go together"
    view = View("parts", title, _AZIMUTH, _ELEVATION, tuple(((low + high) / 2).tolist()), width)
    things = list(parts.values())
    size = float(np.ptp(_corners(meshes["head"] if "head" in meshes else next(iter(meshes.values()))), axis=0).max())
    for name, shift in shifts.items():
        if np.any(shift):
            seat = seats[name].mean(axis=0) + rise
            things.append(_way(name, seat, seat + shift, _LINE * size, add))
    for name, number in numbers(list(meshes)).items():
        things.append(_label(number, name, corners[name], view, add))
    return view, tuple(things), moved


def _rise(seats: dict[str, NDArray[np.float64]], shifts: dict[str, NDArray[np.float64]]) -> NDArray[np.float64]:
    """(3,) how far all of it is lifted, so that what comes out below does not sink into the paper."""
    floor = min(float(corners[:, 2].min()) for corners in seats.values())
    lowest = min(float(corners[:, 2].min() + shifts[name][2]) for name, corners in seats.items())
    height = max(float(corners[:, 2].max()) for corners in seats.values()) - floor
    return np.array([0.0, 0.0, floor - lowest + 0.04 * height if lowest < floor else 0.0])


def shifts_of(piece: Workpiece) -> dict[str, NDArray[np.float64]]:
    """(3,) way out of the head for each part: caps along the way they were parted, eyes set from behind after them
    through the opening, eyes set from the front forwards, plugs out of their holes, all else from the middle outwards.
    """
    meshes = piece.all_parts()
    every = np.concatenate([mesh.vertices for mesh in meshes.values()])
    size = float(np.ptp(every, axis=0).max())
    middle = (every.min(axis=0) + every.max(axis=0)) / 2
    ways = parting_ways(piece)
    behind = {f"eye-{eye.side}" for eye in piece.eyes if eye.bore_length > 0}
    opening = next((way for name, way in ways.items() if name in meshes and not name.startswith("hair")), None)
    shifts = {}
    for name, mesh in meshes.items():
        if name == "head":
            shifts[name] = np.zeros(3)
        elif name in ways:
            shifts[name] = (0.66 if behind else 0.36) * size * ways[name]
        elif name.startswith(("eye", "dome")):
            inside = opening is not None and name.replace("dome", "eye") in behind
            shifts[name] = 0.38 * size * opening if inside and opening is not None else np.array([0, -0.3 * size, 0])
        elif name.startswith("seat") and opening is not None:
            shifts[name] = 0.48 * size * opening  # behind the eye it holds
        else:
            shifts[name] = 0.4 * size * _straight(_corners(mesh).mean(axis=0) - middle)
    for name in (each for each in ways if each.startswith("hair") and each in shifts):
        shifts[name] = max(_clear_of(meshes, shifts, name, ways[name]), 0.36 * size) * ways[name]
    for plug in (each for done in piece.history if done.name == "vent" for each in done.figures.get("plugs", ())):
        if plug["plug"] in shifts and plug["part"] in shifts:
            shifts[plug["plug"]] = shifts[plug["part"]] + 0.2 * size * np.asarray(plug["way"])
    return shifts


def _clear_of(
    meshes: dict[str, Mesh], shifts: dict[str, NDArray[np.float64]], name: str, way: NDArray[np.float64]
) -> float:
    """How far a part that lies over the others has to go to be clear of all that are themselves moved along its way."""
    tops = [
        float(((_corners(mesh) + shifts[other]) @ way).max())
        for other, mesh in meshes.items()
        if other != name and shifts[other] @ way > 0
    ]
    foot = _corners(meshes[name]) @ way
    return max(tops) - float(foot.min()) + 0.1 * float(np.ptp(foot)) if tops else 0.0


def parting_ways(piece: Workpiece) -> dict[str, NDArray[np.float64]]:
    """Part's name to the (3,) unit vector along which it comes off, as the key step measured it."""
    return {
        str(done.figures.get("part", "skull-cap")): np.asarray(done.figures["cut_up"], dtype=np.float64)
        for done in piece.history
        if done.name == "key" and "cut_up" in done.figures
    }


def _straight(offset: NDArray[np.float64]) -> NDArray[np.float64]:
    """The axis along which it lies farthest, as a unit vector."""
    way = np.where(np.abs(offset) == np.abs(offset).max(), offset, 0.0)
    return np.asarray(way / max(float(np.linalg.norm(way)), 1e-9))


def _corners(mesh: Mesh) -> NDArray[np.float64]:
    """(8, 3) of the mesh's box."""
    low, high = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
    pick = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)])
    return np.asarray(low + pick * (high - low))


def _way(name: str, seat: NDArray[np.float64], out: NDArray[np.float64], breadth: float, add: Add) -> bpy.types.Object:
    """A dashed line from a part's seat to where it is drawn."""
    from ...geometry.solids.primitives import cylinder

    shares = np.linspace(0, 1, 2 * _DASHES)
    dashes = [
        cylinder(seat + a * (out - seat), seat + b * (out - seat), breadth, 0.3 * breadth)
        for a, b in zip(shares[:-1:2], shares[1::2], strict=True)
    ]
    starts = np.cumsum([0, *(len(dash.vertices) for dash in dashes[:-1])])
    line = Mesh(
        np.concatenate([dash.vertices for dash in dashes]),
        np.concatenate([dash.triangles + start for dash, start in zip(dashes, starts, strict=True)]),
    )
    return _drawn(add(f"way of {name}", line))


def _label(number: int, name: str, corners: NDArray[np.float64], view: View, add: Add) -> bpy.types.Object:
    """The part's number beside it, upright to the camera."""
    curve = bpy.data.curves.new(f"Canthus number {name}", "FONT")
    curve.body, curve.size, curve.align_x, curve.align_y = str(number), 0.055 * view.width, "CENTER", "CENTER"
    letter = bpy.data.objects.new(curve.name, curve)
    data = bpy.data.meshes.new_from_object(letter)
    turn = view.towards.to_track_quat("Z", "Y").to_matrix()
    across = np.array(turn @ Vector((1.0, 0.0, 0.0)))
    side = 1.0 if not name.endswith("right") else -1.0
    middle, reach = corners.mean(axis=0), np.abs((corners - corners.mean(axis=0)) @ across).max()
    placed = turn.to_4x4()
    placed.translation = Vector(middle + side * (0.82 * reach + 0.045 * view.width) * across)
    data.transform(placed)
    points = np.empty((len(data.vertices), 3), np.float32)
    data.vertices.foreach_get("co", points.ravel())
    data.calc_loop_triangles()
    triangles = np.empty((len(data.loop_triangles), 3), np.int32)
    data.loop_triangles.foreach_get("vertices", triangles.ravel())
    return _drawn(add(f"number of {name}", Mesh(points.astype(np.float64), triangles)))


def _drawn(thing: bpy.types.Object) -> bpy.types.Object:
    """Made a line of the drawing instead of a thing: it takes no light and casts no shadow."""
    thing.data.materials.clear()
    thing.data.materials.append(materials.ink())
    thing.visible_shadow = thing.visible_diffuse = thing.visible_glossy = False
    return thing
