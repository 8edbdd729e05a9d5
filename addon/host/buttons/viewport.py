"""The view: millimetres in the scene, and looking at the head."""

from collections.abc import Iterator

import bpy
import numpy as np
from mathutils import Matrix, Quaternion, Vector
from numpy.typing import NDArray

from ...geometry.errors import NotReady
from ...steps.workpiece import Workpiece
from ..scene import exchange, scene_piece, states

THREE_QUARTER = Quaternion((0.7556, 0.6124, 0.1462, 0.1804)).normalized()
"""A little from the sitter's left, a little from above."""
_standing: dict[int, NDArray[np.float64]] = {}
"""By a head's collection: the frame it stood in when the view last followed it."""


def set_millimetres(context: bpy.types.Context) -> None:
    """Let one unit of the scene be one millimetre, and say lengths in it."""
    units = context.scene.unit_settings
    units.system, units.length_unit = "METRIC", "MILLIMETERS"
    units.scale_length = 0.001


def three_quarter(piece: Workpiece) -> Quaternion:
    """The view on a face a little from its left and above: of a head not posed yet, as far as landmarks tell.

    Raises
    ------
    NotReady
        Too few sure landmarks.
    """
    from ...anatomy.face.frame import head_frame  # with it come the heavy libraries

    if any(done.name == "pose" for done in piece.history):
        return THREE_QUARTER
    marks = {name: np.asarray(mark.position) / piece.scale for name, mark in piece.landmarks.items() if mark.sure}
    return Matrix(head_frame(marks).matrix[:3, :3].T.tolist()).to_quaternion() @ THREE_QUARTER


def show_piece(
    context: bpy.types.Context, collection: bpy.types.Collection, turned: Quaternion | None = THREE_QUARTER
) -> None:
    """Make the latest form of a head active and look at it from where `turned` says; None leaves the view's turn.

    It is active without being selected: an orange outline would hide the points of a scan.
    """
    thing = scene_piece.object_with(collection, "head") or scene_piece.object_with(collection, "scan")
    if thing is None:
        return
    for other in context.selected_objects:
        other.select_set(False)
    context.view_layer.objects.active = thing
    look_at(context, thing, turned)


def follow(context: bpy.types.Context, collection: bpy.types.Collection, before: Workpiece, after: Workpiece) -> None:
    """Let the view follow a head that has grown, shrunk or turned, or whose face is known since.

    One that has only grown or shrunk is looked at as before: the view goes with it.
    """
    motion = after.frame @ np.linalg.inv(before.frame)
    _standing[collection.session_uid] = after.frame
    if not np.allclose(motion[:3, :3], motion[0, 0] * np.eye(3), atol=1e-9):
        show_piece(context, collection)
    elif before.head is None and after.head is not None:
        show_piece(context, collection, turned=None)
    elif not before.landmarks and after.landmarks:
        face(context, collection, after)
    elif not np.array_equal(after.frame, before.frame):
        go_with(context, motion)


@bpy.app.handlers.persistent  # type: ignore[untyped-decorator]
def after_undo(*_: object) -> None:
    """Undo brings the head back to the size and place it had, but not the view: that goes with it here."""
    context = bpy.context
    collection = scene_piece.piece_collection(context)
    frame = states.facts_shown(collection).get("frame")
    if collection is None or frame is None:
        return
    now = np.array(frame, dtype=np.float64)
    stood = _standing.get(collection.session_uid, now)
    _standing[collection.session_uid] = now
    if not np.array_equal(now, stood):
        go_with(context, now @ np.linalg.inv(stood))


def go_with(context: bpy.types.Context, motion: NDArray[np.float64]) -> None:
    """Move every 3D view by a (4, 4) similarity of the head, millimetres, so that it looks at the same of it."""
    unit = exchange.millimetres_per_unit(context.scene)
    factor = float(np.cbrt(np.linalg.det(motion[:3, :3])))
    turn = Matrix((motion[:3, :3] / factor).tolist()).to_quaternion()
    for space in views(context):
        view = space.region_3d
        place = motion[:3, :3] @ np.array(view.view_location) + motion[:3, 3] / unit
        view.view_location, view.view_distance = place, view.view_distance * factor
        view.view_rotation = turn @ view.view_rotation
        space.clip_start, space.clip_end = space.clip_start * factor, space.clip_end * factor


def forget() -> None:
    """Drop what is known of the heads of a file that is closed."""
    _standing.clear()


def face(context: bpy.types.Context, collection: bpy.types.Collection, piece: Workpiece) -> None:
    """Look at the face; where too few landmarks are sure to tell which way it looks, the view stays as it is."""
    try:
        turned = three_quarter(piece)
    except NotReady:
        return
    show_piece(context, collection, turned)


def look_at(context: bpy.types.Context, thing: bpy.types.Object, turned: Quaternion | None) -> None:
    """Bring an object into the middle of every 3D view, near and far limits to suit its size.

    Measured on its vertices: right after new ones were written the host still tells the box of the old ones.
    """
    points = np.empty((len(thing.data.vertices), 3), np.float32)
    thing.data.vertices.foreach_get("co", points.ravel())
    matrix = np.array(exchange.stands(thing))
    points = points @ matrix[:3, :3].T.astype(np.float32) + matrix[:3, 3]
    low, high = Vector(points.min(axis=0)), Vector(points.max(axis=0))
    size = max((high - low)[:]) or 1.0
    for space in views(context):
        space.clip_start, space.clip_end = size / 500, size * 100
        view = space.region_3d
        view.view_location, view.view_distance = (low + high) / 2, 1.7 * size
        if turned is not None:
            view.view_perspective, view.view_rotation = "PERSP", turned


def show_colours(context: bpy.types.Context) -> None:
    """Show colours in solid views: a scan's own, and what a map paints on a head."""
    for space in views(context):
        space.shading.color_type = "VERTEX"
        space.shading.show_cavity = True


def views(context: bpy.types.Context) -> Iterator[bpy.types.SpaceView3D]:
    """The 3D views on the screen."""
    for window in context.window_manager.windows:
        for area in window.screen.areas:
            if area.type == "VIEW_3D":
                yield area.spaces[0]
