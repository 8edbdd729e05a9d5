"""Clouds in the 3D view: a dot for each point in its own colour, drawn here, for the host shows points gray and slowly.

The dots of a cloud are laid out once, in an order picked by chance, so that the first so many of them are a thinned
cloud: as many are drawn as **Points Shown** says, and fewer while a step is at work and the machine is busy.
"""

import bpy
import gpu
import numpy as np
from bpy_extras.view3d_utils import location_3d_to_region_2d
from gpu_extras.batch import batch_for_shader
from mathutils import Vector
from numpy.typing import NDArray

from ..scene import exchange, looks, scene_piece
from . import drawing, shapes

AT_WORK = 0.1
"""Share of the dots that is drawn while a step is at work."""
CLAY = np.array([0.80, 0.78, 0.75])
"""Of points without a colour of their own."""
_SIZES = 2.0, 12.0
"""Least and largest dot in pixels: so large that its neighbours touch it, within these."""
_SEED = 5


def colours_of(thing: bpy.types.Object, rows: NDArray[np.intp]) -> NDArray[np.float32]:
    """(k, 4) sRGB colours of some points: the shown attribute's, else clay, lit along the normals where known."""
    data = thing.data
    colours = np.ones((len(rows), 4), np.float32)
    active = data.color_attributes.active_color
    if active is not None and active.domain == "POINT":
        whole = np.empty((len(data.vertices), 4), np.float32)
        active.data.foreach_get("color_srgb", whole.ravel())
        colours[:, :3] = whole[rows, :3]
        return colours
    light = np.ones(len(rows))
    if exchange.NORMAL in data.attributes:
        normals = np.empty((len(data.vertices), 3), np.float32)
        data.attributes[exchange.NORMAL].data.foreach_get("vector", normals.ravel())
        light = 0.35 + 0.65 * np.abs(normals[rows] @ np.array([0.4, -0.5, 0.77]))
    colours[:, :3] = light[:, None] * CLAY
    return colours


def picked(count: int, shown: int) -> NDArray[np.intp]:
    """Which of `count` points are drawn where `shown` are wanted, in the order they are drawn."""
    order = np.random.default_rng(_SEED).permutation(count)
    return order[:shown]


def drawn_now(context: bpy.types.Context, laid_out: int) -> int:
    """How many of the dots laid out are drawn now."""
    return max(1, int(laid_out * AT_WORK)) if context.window_manager.canthus.running else laid_out


def _laid_out(thing: bpy.types.Object, shown: int) -> tuple[gpu.types.GPUBatch, int]:
    """The dots of a cloud in the object's own space, ready to be drawn, and how many."""
    rows = picked(len(thing.data.vertices), shown)
    points = np.empty((len(thing.data.vertices), 3), np.float32)
    thing.data.attributes["position"].data.foreach_get("vector", points.ravel())
    content = {"pos": points[rows], "color": colours_of(thing, rows)}
    return batch_for_shader(gpu.shader.from_builtin("POINT_FLAT_COLOR"), "POINTS", content), len(rows)


def _size(context: bpy.types.Context, thing: bpy.types.Object, count: int) -> float:
    """Pixels of a dot: as far as neighbours lie apart in the middle of the view."""
    spacing = looks.spacing(thing, count)
    middle = context.region_data.view_location
    aside = middle + spacing * (context.region_data.view_rotation @ Vector((1, 0, 0)))
    ends = [location_3d_to_region_2d(context.region, context.region_data, place) for place in (middle, aside)]
    if None in ends:
        return _SIZES[0]
    return float(np.clip((ends[1] - ends[0]).length, _SIZES[0] * drawing.ui_scale(), _SIZES[1] * drawing.ui_scale()))


def _draw() -> None:
    space = bpy.context.space_data
    for collection in scene_piece.pieces_in(bpy.context.scene):
        thing = scene_piece.object_with(collection, "scan")
        if thing is None or not looks.is_cloud(thing) or thing.mode != "OBJECT":
            continue
        if thing.visible_get(viewport=space):  # the host's local view hides things in one view alone
            _draw_cloud(bpy.context, thing)


def _draw_cloud(context: bpy.types.Context, thing: bpy.types.Object) -> None:
    wanted = context.window_manager.canthus_overlays.points
    painted = thing.get("canthus_map")
    column = str(painted["column"]) if painted else ""
    batch, laid_out = shapes.once(thing, ("dots", wanted, column), lambda: _laid_out(thing, wanted))
    count = drawn_now(context, laid_out)
    shader = gpu.shader.from_builtin("POINT_FLAT_COLOR")
    gpu.state.depth_test_set("LESS_EQUAL")
    gpu.state.depth_mask_set(True)
    gpu.state.point_size_set(_size(context, thing, count))
    with gpu.matrix.push_pop():
        gpu.matrix.multiply_matrix(exchange.stands(thing))
        batch.draw_range(shader, elem_count=count)
    gpu.state.point_size_set(1.0)
    gpu.state.depth_mask_set(False)
    gpu.state.depth_test_set("NONE")


DRAWN = drawing.Drawn(in_scene=_draw)
