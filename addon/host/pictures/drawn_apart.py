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
_LINE = 0.006  # half the breadth of a way's line over the head's size
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
    size = float(np.ptp(_corners(meshes["head"] if "head" in meshes else next(iter(meshes.values()))), axis=0).max())
    joint = _into_the_body(piece, size)
    rise = _rise(seats, shifts, joint)
    moved = {parts[name].name: Vector(shift + rise) for name, shift in shifts.items()}
    corners = {name: seats[name] + shifts[name] + rise for name in parts}
    every = np.concatenate([*corners.values(), joint + rise])
    low, high = every.min(axis=0), every.max(axis=0)
    order = numbers(list(meshes))
    told = ", ".join(f"{row} {name}" for name, row in order.items())
    title = f"The parts drawn apart, in the order in which they go together: {told}"
    view = View("parts", title, _AZIMUTH, _ELEVATION, tuple(((low + high) / 2).tolist()), 1.12 * extent(every))
    ways = {"neck": joint + rise} if len(joint) else {}
    for name, shift in shifts.items():
        if np.any(shift):
            unit = shift / np.linalg.norm(shift)
            middle, along = seats[name].mean(axis=0), meshes[name].vertices @ unit
            foot = middle + rise + (float(along.min()) - middle @ unit) * unit
            ways[name] = np.stack([foot + shift, foot])
    arrows = [_arrow(name, way, _LINE * size, view, add) for name, way in ways.items()]
    figures = [each for name, row in order.items() for each in label(row, name, corners[name], view, add)]
    return view, (*parts.values(), *arrows, *figures), moved


def extent(points: NDArray[np.float64]) -> float:
    """The longest side of the box about (n, 3) points."""
    return float(np.ptp(points, axis=0).max())


def _into_the_body(piece: Workpiece, size: float) -> NDArray[np.float64]:
    """(2, 3) the way of the joint at the neck, from under it down to where the body is; (0, 3) where there is none."""
    for done in reversed(piece.history):
        if done.name == "neck" and "cut_up" in done.figures:
            up, below = np.asarray(done.figures["cut_up"]), float(done.figures.get("peg_length_mm", 0.0))
            start = np.asarray(done.figures["cut_at_mm"]) - (below + 0.03 * size) * up
            return np.stack([start, start - 0.16 * size * up])
    return np.zeros((0, 3))


def _rise(
    seats: dict[str, NDArray[np.float64]], shifts: dict[str, NDArray[np.float64]], joint: NDArray[np.float64]
) -> NDArray[np.float64]:
    """(3,) how far all of it is lifted, so that what comes out below does not sink into the paper."""
    floor = min(float(corners[:, 2].min()) for corners in seats.values())
    lowest = min(
        *(float(corners[:, 2].min() + shifts[name][2]) for name, corners in seats.items()),
        *joint[:, 2].tolist(),
        floor,
    )
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
    out = 0.0 if opening is None else max(0.38 * size, _over_the_rim(piece, behind, opening) + 0.12 * size)
    shifts = {}
    for name, mesh in meshes.items():
        if name == "head":
            shifts[name] = np.zeros(3)
        elif name in ways:
            shifts[name] = (out + 0.28 * size if behind else 0.36 * size) * ways[name]
        elif name.startswith(("eye", "dome")):
            inside = opening is not None and name.replace("dome", "eye") in behind
            shifts[name] = out * opening if inside and opening is not None else np.array([0, -0.3 * size, 0])
        elif name.startswith("seat") and opening is not None:
            shifts[name] = (out + 0.1 * size) * opening  # behind the eye it holds
        else:
            shifts[name] = 0.4 * size * _straight(_corners(mesh).mean(axis=0) - middle)
    for name in (each for each in ways if each.startswith("hair") and each in shifts):
        shifts[name] = max(_clear_of(meshes, shifts, name, ways[name]), 0.36 * size) * ways[name]
    for plug in (each for done in piece.history if done.name == "vent" for each in done.figures.get("plugs", ())):
        if plug["plug"] in shifts and plug["part"] in shifts:
            shifts[plug["plug"]] = shifts[plug["part"]] + 0.2 * size * np.asarray(plug["way"])
    return shifts


def _over_the_rim(piece: Workpiece, names: set[str], way: NDArray[np.float64]) -> float:
    """How far parts have to go along the way of the opening to come out over its rim."""
    rims = [done.figures["cut_at_mm"] for done in piece.history if done.name == "key" and "cut_at_mm" in done.figures]
    feet = [float((mesh.vertices @ way).min()) for name, mesh in piece.all_parts().items() if name in names]
    return max((float(np.asarray(rim) @ way) for rim in rims), default=0.0) - min(feet) if rims and feet else 0.0


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


def _arrow(name: str, way: NDArray[np.float64], breadth: float, view: View, add: Add) -> bpy.types.Object:
    """A dashed arrow along a (2, 3) way, from where a part is drawn to its seat, seen through whatever is before it."""
    from ...geometry.solids.primitives import cylinder, frustum

    start, end = way
    length = float(np.linalg.norm(end - start))
    head = min(9 * breadth, 0.5 * length)
    neck = end - head / length * (end - start)
    dashes = max(round((length - head) / (12 * breadth)), 1)
    shares = np.linspace(0, 1, 2 * dashes)
    pieces = [
        cylinder(start + a * (neck - start), start + b * (neck - start), breadth, 0.3 * breadth)
        for a, b in zip(shares[:-1:2], shares[1::2], strict=True)
    ]
    pieces.append(frustum(neck, end, 3.2 * breadth, 0.05 * breadth, 0.3 * breadth))
    starts = np.cumsum([0, *(len(piece.vertices) for piece in pieces[:-1])])
    line = Mesh(
        view.before_all(np.concatenate([piece.vertices for piece in pieces])),
        np.concatenate([piece.triangles + first for piece, first in zip(pieces, starts, strict=True)]),
    )
    return _drawn(add(f"way of {name}", line), materials.figure())


def label(
    number: int, name: str, corners: NDArray[np.float64], view: View, add: Add
) -> tuple[bpy.types.Object, bpy.types.Object]:
    """The part's number on a disc beside it, upright to the camera, and the disc; they read in black and white too."""
    from ...geometry.solids.primitives import prism

    curve = bpy.data.curves.new(f"Canthus number {name}", "FONT")
    curve.body, curve.size, curve.align_x, curve.align_y = str(number), 0.045 * view.width, "CENTER", "CENTER"
    curve.offset = 0.0012 * view.width  # a little bolder
    letter = bpy.data.objects.new(curve.name, curve)
    data = bpy.data.meshes.new_from_object(letter)
    points = np.empty((len(data.vertices), 3), np.float32)
    data.vertices.foreach_get("co", points.ravel())
    data.calc_loop_triangles()
    triangles = np.empty((len(data.loop_triangles), 3), np.int32)
    data.loop_triangles.foreach_get("vertices", triangles.ravel())
    turn = np.array(view.towards.to_track_quat("Z", "Y").to_matrix())
    side = 1.0 if not name.endswith("right") else -1.0
    middle = corners.mean(axis=0)
    reach = np.abs((corners - middle) @ turn[:, 0]).max()
    middle = middle + side * (0.82 * reach + 0.045 * view.width) * turn[:, 0]
    turns = np.linspace(0, 2 * np.pi, 64, endpoint=False)
    circle = 0.031 * view.width * np.column_stack([np.cos(turns), np.sin(turns)])
    disc = prism(circle, -0.02 * view.width, -0.01 * view.width)
    meshes = (Mesh(points.astype(np.float64), triangles), disc)
    placed = [Mesh(view.before_all(mesh.vertices @ turn.T + middle), mesh.triangles) for mesh in meshes]
    return (
        _drawn(add(f"number of {name}", placed[0]), materials.figure()),
        _drawn(add(f"disc of {name}", placed[1]), materials.ink()),
    )


def _drawn(thing: bpy.types.Object, material: bpy.types.Material) -> bpy.types.Object:
    """Made a line of the drawing instead of a thing: it takes no light and casts no shadow."""
    thing.data.materials.clear()
    thing.data.materials.append(material)
    thing.visible_shadow = thing.visible_diffuse = thing.visible_glossy = False
    return thing
