"""The pockets of the eyes, drawn where the empties stand, in the colours of what covers them, live as one is dragged.

Where the skin lies less than the least lid over the pocket it is red, where there is enough blue, and where the pocket
looks out of the head (between the lids, if all is well) yellow.
"""

import functools

import bpy
import numpy as np
from mathutils import Vector
from mathutils.bvhtree import BVHTree
from numpy.typing import NDArray

from ..scene import curves, exchange, scene_piece, states
from . import drawing, shapes

THIN, COVERED, OUTSIDE = (0.95, 0.15, 0.05, 0.4), (0.15, 0.45, 0.95, 0.16), (1.0, 0.8, 0.15, 0.3)
_ROUND = 3
"""Times the faces of an icosahedron are divided: 1280 faces."""
_ABOUT = 1.8
"""Radii of the pocket within which the skin is looked at."""
_CUT = ("carve-sockets", "make-eyes")


def cover_over(tree: BVHTree, places: NDArray[np.float64], reach: float) -> NDArray[np.float64]:
    """(n,) how deep each place lies under the surface, negative outside; `reach` where nothing is so near."""
    cover = np.full(len(places), reach)
    for row, place in enumerate(places.tolist()):
        near, normal, _, away = tree.find_nearest(place, reach)
        if near is not None:
            cover[row] = -away if (Vector(place) - near).dot(normal) > 0 else away
    return cover


def colours_for(cover: NDArray[np.float64], least: float, open_at: NDArray[np.bool_]) -> NDArray[np.float64]:
    """(n, 4) colours for depths under the skin, and where the eye looks out between the lids whatever lies there."""
    colours = np.tile(np.array(COVERED), (len(cover), 1))
    colours[cover < least] = THIN
    colours[(cover < 0) | open_at] = OUTSIDE
    return colours


def between_lids(
    ball: NDArray[np.float64], margin: NDArray[np.float64], frame: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """(n,) which of the (n, 3) directions from an eye's centre pass through its margin, (k, 3) seen from there.

    `frame` is (3, 3): two directions across the gaze and the gaze. Before the carving the scanned globe lies there,
    which no lid has to cover.
    """
    from ...geometry.curves import inside  # with it come the heavy libraries

    if not len(margin):
        return np.zeros(len(ball), dtype=bool)
    seen, edge = ball @ frame.T, margin @ frame.T
    ahead = seen[:, 2] > 1e-3
    found = np.zeros(len(ball), dtype=bool)
    found[ahead] = inside(seen[ahead, :2] / seen[ahead, 2:], edge[:, :2] / edge[:, 2:])
    return found


def _tree_about(head: bpy.types.Object, place: Vector, radius: float) -> BVHTree | None:
    """The skin near an eye. Found anew only when the eye has left the cell it was in, not at each redraw."""
    cell = tuple(round(each / (0.25 * radius)) for each in place)
    middle = np.array(cell) * 0.25 * radius
    tree: BVHTree | None = shapes.once(
        head, ("skin about", cell, radius), lambda: _tree(head, middle, (_ABOUT + 0.25) * radius)
    )
    return tree


def _tree(head: bpy.types.Object, middle: NDArray[np.float64], reach: float) -> BVHTree | None:
    mesh = shapes.shape_of(head)
    near = (np.abs(mesh.vertices - middle) < reach).all(axis=1)
    triangles = mesh.triangles[near[mesh.triangles].any(axis=1)]
    if not len(triangles):
        return None
    kept, rows = np.unique(triangles, return_inverse=True)
    return BVHTree.FromPolygons(mesh.vertices[kept].tolist(), rows.reshape(-1, 3).tolist(), all_triangles=True)


def _front(gaze: Vector) -> tuple[NDArray[np.float64], NDArray[np.int32]]:
    """The half of a unit ball that looks along the gaze: behind, the pocket lies deep in the head."""
    ball, triangles = _ball()
    return ball, triangles[(ball @ np.array(gaze) > 0)[triangles].all(axis=1)]


@functools.cache
def _ball() -> tuple[NDArray[np.float64], NDArray[np.int32]]:
    from ...geometry.solids.primitives import icosphere

    ball = icosphere(_ROUND)
    return ball.vertices, ball.triangles


def _shown() -> list[tuple[bpy.types.Object, bpy.types.Object]]:
    """The eyes to be drawn, each with the head about it; none once the sockets are carved."""
    context = bpy.context
    collection = scene_piece.piece_collection(context)
    if collection is None or not context.window_manager.canthus_overlays.eyeballs:
        return []
    if any(name in _CUT for name in states.history_of(collection)):
        return []
    head = scene_piece.object_with(collection, "head")
    if head is None or not context.space_data.overlay.show_overlays:
        return []
    eyes = [each for each in collection.objects if scene_piece.role_of(each).startswith("eye/") and each.visible_get()]
    return [(eye, head) for eye in eyes]


def _draw_in_scene() -> None:
    unit = exchange.millimetres_per_unit(bpy.context.scene)
    for eye, head in _shown():
        clearance = bpy.context.scene.canthus.carve_sockets.clearance
        least = bpy.context.scene.canthus.carve_sockets.least_lid / unit
        radius = (0.5 * float(eye["diameter_mm"]) + clearance) / unit
        middle = eye.matrix_world.translation
        tree = _tree_about(head, middle, radius)
        if tree is None:
            continue
        ball, triangles = _front(-(eye.matrix_world.to_3x3() @ Vector((0, 1, 0))).normalized())
        places = np.array(middle) + radius * ball
        margin = _margin_of(eye) - np.array(middle)
        colours = colours_for(cover_over(tree, places, radius), least, between_lids(ball, margin, _across(eye)))
        with drawing.behind():
            drawing.shaded(places, colours, triangles)


def _margin_of(eye: bpy.types.Object) -> NDArray[np.float64]:
    """(k, 3) places of the eye's margin in the scene's units; none where it has none."""
    thing = scene_piece.object_with(eye.users_collection[0], scene_piece.role_of(eye).replace("eye/", "margin/"))
    return np.zeros((0, 3)) if thing is None else curves.places_of(thing)


def _across(eye: bpy.types.Object) -> NDArray[np.float64]:
    """(3, 3) the eye's own x and z, and its gaze, which is its -y."""
    axes = np.array(eye.matrix_world.to_3x3().normalized()).T
    return np.stack([axes[0], axes[2], -axes[1]])


def _draw_legend() -> None:
    if not _shown():
        return
    least = bpy.context.scene.canthus.carve_sockets.least_lid
    rows = [
        (THIN, f"pocket under less than {least:g} mm of lid"),
        (COVERED, "pocket covered"),
        (OUTSIDE, "pocket seen from outside: the opening"),
    ]
    drawing.legend(rows, bpy.context.region, above=80)


DRAWN = drawing.Drawn(in_scene=_draw_in_scene, over=_draw_legend)
