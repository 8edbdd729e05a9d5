"""Landmarks by hand: set one with a click on the surface, lay all of them back on it, mirror one to the other side."""

import bpy
import numpy as np
from bpy_extras import view3d_utils
from mathutils import Vector
from numpy.typing import NDArray

from ...geometry.errors import NotReady
from ...steps.workpiece import Landmark, Workpiece
from ..buttons.in_place import done_in_place
from ..scene import looks, scene_piece, states
from ..scene.choices import mark_items
from ..scene.wording import title
from .clicking import OneClick

_SIDES = {"left": "right", "right": "left"}


_ITEMS = mark_items()


class _ByHand:
    """What changing landmarks by hand shares: read, change, write, one undo step."""

    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return states.ready(cls, context, "piece")

    def changed(self, piece: Workpiece) -> Workpiece:
        raise NotImplementedError

    def execute(self, context: bpy.types.Context) -> set[str]:
        def work(collection: bpy.types.Collection, before: Workpiece) -> None:
            scene_piece.write_piece(self.changed(before), context.scene, collection, before)
            looks.show_landmarks(collection, True)

        return done_in_place(self, context, work)


class CANTHUS_OT_set_landmark(_ByHand, OneClick, bpy.types.Operator):
    bl_idname = "canthus.set_landmark"
    bl_label = "Set Landmark"
    bl_description = "Click on the surface where the landmark lies; Esc gives up"

    landmark: bpy.props.EnumProperty(items=_ITEMS, name="Landmark", description="Which one is set")
    position: bpy.props.FloatVectorProperty(name="Place (mm)", description="Where it lies, in the head's millimeters")

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        if context.area is None or context.area.type != "VIEW_3D":
            return self.execute(context)
        return self.wait(context, title(self.landmark))

    def taken(self, context: bpy.types.Context, event: bpy.types.Event) -> bool:
        place = under_mouse(context, event)
        if place is not None:
            self.position = place
        return place is not None

    def changed(self, piece: Workpiece) -> Workpiece:
        x, y, z = self.position
        return piece.but(landmarks={**piece.landmarks, self.landmark: Landmark((x, y, z), 1.0, "placed")})


class CANTHUS_OT_snap_landmarks(_ByHand, bpy.types.Operator):
    bl_idname = "canthus.snap_landmarks"
    bl_label = "Snap to Surface"
    bl_description = "Lay every landmark on the nearest place of the closed head"

    def changed(self, piece: Workpiece) -> Workpiece:
        from ...geometry.distances.closest import ClosestPoint  # with it come the heavy libraries

        if not piece.landmarks:
            raise NotReady("there are no landmarks yet: press Landmarks first")
        marks = list(piece.landmarks.values())
        places = np.array([mark.position for mark in marks])
        surface = piece.head
        if surface is None:
            raise NotReady("there is no closed head to lay them on: press Close first")
        _, _, nearest = ClosestPoint(surface).query(places)
        moved = {
            name: _moved(mark, place) for (name, mark), place in zip(piece.landmarks.items(), nearest, strict=True)
        }
        return piece.but(landmarks=moved)


class CANTHUS_OT_mirror_landmarks(_ByHand, bpy.types.Operator):
    bl_idname = "canthus.mirror_landmarks"
    bl_label = "Mirror Landmarks"
    bl_description = "Set the landmarks of one side where those of the other lie, mirrored about the middle of the head"

    side: bpy.props.EnumProperty(
        items=[("left", "From Left", "Keep the sitter's left"), ("right", "From Right", "Keep the sitter's right")],
        name="Direction",
        description="Which side is kept",
    )

    def changed(self, piece: Workpiece) -> Workpiece:
        if not any(done.name == "pose" for done in piece.history):
            raise NotReady("the head is not posed yet, so its middle is unknown: press Pose first")
        kept = {name: mark for name, mark in piece.landmarks.items() if name.endswith(f"-{self.side}")}
        if not kept:
            raise NotReady(f"there is no landmark on the {self.side} side: set one first")
        mirrored = {}
        for name, mark in kept.items():
            x, y, z = mark.position
            other = name.removesuffix(self.side) + _SIDES[self.side]
            mirrored[other] = Landmark((-x, y, z), mark.confidence, "placed")
        return piece.but(landmarks={**piece.landmarks, **mirrored})


def under_mouse(context: bpy.types.Context, event: bpy.types.Event) -> tuple[float, float, float] | None:
    """Where the mouse points on the head (or the scan), in millimetres; None where it points past it."""
    from ..scene.exchange import millimetres_per_unit, stands

    collection = scene_piece.piece_collection(context)
    thing = scene_piece.object_with(collection, "head") or scene_piece.object_with(collection, "scan")
    region = next((each for each in context.area.regions if each.type == "WINDOW"), None)
    if thing is None or region is None:
        return None
    mouse = (event.mouse_x - region.x, event.mouse_y - region.y)
    space = context.space_data.region_3d
    start = view3d_utils.region_2d_to_origin_3d(region, space, mouse)
    way = view3d_utils.region_2d_to_vector_3d(region, space, mouse)
    matrix = stands(thing)
    back = matrix.inverted()
    if len(thing.data.polygons):
        hit, place, _, _ = thing.ray_cast(back @ start, back.to_3x3() @ way)
        found = matrix @ place if hit else None
    else:
        found = _nearest_to_ray(thing, matrix, start, way)
    return None if found is None else tuple(found * millimetres_per_unit(context.scene))


def _nearest_to_ray(thing: bpy.types.Object, matrix: object, start: Vector, way: Vector) -> Vector | None:
    """The foremost point of a cloud within a hundredth of its size of the ray."""
    points = np.empty((len(thing.data.vertices), 3), np.float32)
    thing.data.vertices.foreach_get("co", points.ravel())
    full = np.array(matrix)
    points = points @ full[:3, :3].T + full[:3, 3]
    along = (points - np.array(start)) @ np.array(way)
    aside = np.linalg.norm(points - np.array(start) - along[:, None] * np.array(way), axis=1)
    near = np.flatnonzero(aside < 0.01 * max(thing.dimensions[:]))
    return Vector(points[near[np.argmin(along[near])]]) if len(near) else None


def _moved(mark: Landmark, place: NDArray[np.float64]) -> Landmark:
    """The landmark at another place; one that lay there already is left as it was, doubt included."""
    if np.linalg.norm(np.asarray(mark.position) - place) < 1e-6:
        return mark
    x, y, z = place.tolist()
    return Landmark((x, y, z), mark.confidence, mark.source)


CLASSES = (CANTHUS_OT_set_landmark, CANTHUS_OT_snap_landmarks, CANTHUS_OT_mirror_landmarks)
