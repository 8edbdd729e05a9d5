"""How things look in the viewport: materials, what is shown and what is hidden, points drawn as small balls."""

import bpy
import numpy as np
from numpy.typing import NDArray

from ...geometry.cloud import Cloud
from ...geometry.mesh import Mesh
from ...steps.workpiece import Eye, Workpiece
from . import exchange, materials
from .roles import role_of

_CREASE = np.radians(35)
SHOWN_POINTS = 200_000
"""Points of a cloud that are drawn unless another number is asked for, and rendered as balls: of more, chance picks as
many."""
_AREA = "canthus_area"
_TOUCHING = 0.6
"""Radius of a ball over the spacing of those shown."""
TOKEN = 300
"""Points the host itself shows in its views, so that a scan is guessed at without the extension too: see `clouds`. Few,
as they show among the dots as white specks."""


def dress(thing: bpy.types.Object, role: str, shape: Mesh | Cloud, piece: Workpiece, unit: float) -> None:
    """Give a freshly written object its material and, where it is a cloud, something to be seen by."""
    data = thing.data
    name = role.removeprefix("parts/")
    if isinstance(shape, Mesh):
        data.shade_smooth()
        data.set_sharp_from_angle(angle=_CREASE)
        _drop_points(thing)
    else:
        _show_points(thing, shape, unit)
    data.materials.clear()
    data.materials.append(_material_for(data, name, shape, piece, unit))


def show_latest(collection: bpy.types.Collection, piece: Workpiece, before: Workpiece | None = None) -> None:
    """Show the latest form of the head only: the scan until there is a closed head; never the untouched skin.

    What was laid by hand gives way to what was made of it: empties and margins of the eyes as long as there are eyes,
    the brows' curves as long as there are brows, landmarks once, when the first eye is made.
    """
    for thing in collection.objects:
        role = role_of(thing)
        if role == "scan":
            _hide(thing, piece.head is not None)
        elif role == "skin":
            _hide(thing, True)
        elif role.startswith(("eye/", "margin/")):
            _hide(thing, f"eye-{role.split('/')[1]}" in piece.parts)
        elif role.startswith("brow/"):
            _hide(thing, any(done.name == "brows" for done in piece.history))
    if _eyes_made(piece) and not (before and _eyes_made(before)):
        show_landmarks(collection, False)
    elif before and piece.history != before.history and piece.history[-1].name == "landmarks":
        show_landmarks(collection, True)


def show_landmarks(collection: bpy.types.Collection, shown: bool) -> None:
    """Show the landmarks, or hide them."""
    for thing in collection.objects:
        if role_of(thing).startswith("landmark/"):
            thing.hide_viewport = not shown


def landmarks_shown(collection: bpy.types.Collection) -> bool:
    """Whether any landmark is shown."""
    return any(role_of(each).startswith("landmark/") and not each.hide_viewport for each in collection.objects)


def _eyes_made(piece: Workpiece) -> bool:
    return any(name.startswith("eye-") for name in piece.parts)


def mark_size(piece: Workpiece) -> float:
    """Radius of a landmark's ball, millimetres: 1.2 at life size, and in proportion."""
    return 1.2 * piece.scale


def _hide(thing: bpy.types.Object, hidden: bool) -> None:
    thing.hide_render = hidden
    thing.hide_viewport = hidden


def _material_for(
    data: bpy.types.Mesh, name: str, shape: Mesh | Cloud, piece: Workpiece, unit: float
) -> bpy.types.Material:
    for eye in piece.eyes:
        if name == f"eye-{eye.side}":
            _forget(f"Canthus Eye {eye.side}")
            if isinstance(shape, Mesh):
                _paint_iris(data, shape.vertices, eye)
            return materials.eye(eye.side, np.asarray(eye.centre) / unit, np.asarray(eye.gaze))
    if name == "scan" and shape.colours is not None:
        return bpy.data.materials.get("Canthus Scan") or materials.coloured()
    return bpy.data.materials.get("Canthus Resin") or materials.resin()


def _paint_iris(data: bpy.types.Mesh, vertices: NDArray[np.float64], eye: Eye) -> None:
    """White, iris and pupil as colours a vertex, for the solid view; they are not read back as the eye's own."""
    rays = vertices - np.asarray(eye.centre)
    along = rays @ np.asarray(eye.gaze) / np.maximum(np.linalg.norm(rays, axis=1), 1e-9)
    rgba = np.ones((len(vertices), 4), np.float32)
    for edge, colour in (
        (np.inf, (0.93, 0.91, 0.88)),
        (materials.LIMBUS, (0.35, 0.46, 0.49)),
        (materials.PUPIL, (0.03,) * 3),
    ):
        rgba[along >= np.cos(min(edge, np.pi)), :3] = colour
    data.color_attributes.new(exchange.PAINT, "BYTE_COLOR", "POINT").data.foreach_set("color_srgb", rgba.ravel())
    data.color_attributes.active_color = data.color_attributes[exchange.PAINT]


def _forget(name: str) -> None:
    old = bpy.data.materials.get(name)
    if old is not None and old.users == 0:
        bpy.data.materials.remove(old)


def is_cloud(thing: bpy.types.Object) -> bool:
    """Whether an object holds points without faces."""
    return thing.type == "MESH" and len(thing.data.vertices) > 0 and not len(thing.data.polygons)


def spacing(thing: bpy.types.Object, count: int) -> float:
    """How far apart `count` points of a cloud lie in the mean, in the object's units: see `_show_points`."""
    return float((thing.get(_AREA, 0.0) / max(count, 1)) ** 0.5)


def _show_points(thing: bpy.types.Object, cloud: Cloud, unit: float) -> None:
    """Points of a mesh without faces are hardly seen: a modifier makes each a small ball, in its own colour, when the
    scene is rendered, and a few of them in the views of the host.
    """
    modifier = thing.modifiers.get(exchange.POINTS_MODIFIER)
    if modifier is None:
        modifier = thing.modifiers.new(exchange.POINTS_MODIFIER, "NODES")
        modifier.show_expanded = False
    thing[_AREA] = _area(cloud) / unit**2
    rendered, shown = (min(1.0, most / max(len(cloud), 1)) for most in (SHOWN_POINTS, TOKEN))
    radius = _TOUCHING * spacing(thing, round(rendered * len(cloud)))
    name = f"{exchange.POINTS_MODIFIER} {radius:.3g}" + (f" {rendered:.2%} {shown:.2%}" if shown < 1 else "")
    modifier.node_group = bpy.data.node_groups.get(name) or _points_tree(name, radius, rendered, shown)


def _drop_points(thing: bpy.types.Object) -> None:
    modifier = thing.modifiers.get(exchange.POINTS_MODIFIER)
    if modifier is not None:
        thing.modifiers.remove(modifier)


def _area(cloud: Cloud) -> float:
    """The surface points lie on, square millimetres, as if evenly over a head of their size: close, no more."""
    low, high = np.percentile(cloud.points[:: max(1, len(cloud) // 20000)], (2, 98), axis=0)
    sides = np.sort(high - low)[::-1]
    return float(2.2 * sides[0] * max(sides[1], 1e-9))


def _points_tree(name: str, radius: float, rendered: float, shown: float) -> bpy.types.NodeTree:
    """Balls of a radius for a share of the points when rendered and for another share in the host's views."""
    tree = bpy.data.node_groups.new(name, "GeometryNodeTree")
    tree.is_modifier = True
    tree.interface.new_socket("Geometry", in_out="INPUT", socket_type="NodeSocketGeometry")
    tree.interface.new_socket("Geometry", in_out="OUTPUT", socket_type="NodeSocketGeometry")
    start, end = tree.nodes.new("NodeGroupInput"), tree.nodes.new("NodeGroupOutput")
    points = tree.nodes.new("GeometryNodeMeshToPoints")
    points.inputs["Radius"].default_value = radius
    if shown < 1:
        view = tree.nodes.new("GeometryNodeIsViewport")
        share = tree.nodes.new("ShaderNodeMath")  # rendered + (1 in a view, else 0) * (shown - rendered)
        share.operation = "MULTIPLY_ADD"
        share.inputs[1].default_value, share.inputs[2].default_value = shown - rendered, rendered
        chance = tree.nodes.new("FunctionNodeRandomValue")
        chance.data_type = "BOOLEAN"
        for place, node in enumerate((view, share, chance)):
            node.location = (220 * place - 440, -200)
        tree.links.new(view.outputs[0], share.inputs[0])
        tree.links.new(share.outputs[0], chance.inputs["Probability"])
        tree.links.new(next(each for each in chance.outputs if each.enabled), points.inputs["Selection"])
    for place, node in enumerate((start, points, end)):
        node.location = (220 * place, 0)
    tree.links.new(start.outputs[0], points.inputs["Mesh"])
    tree.links.new(points.outputs[0], end.inputs[0])
    return tree
