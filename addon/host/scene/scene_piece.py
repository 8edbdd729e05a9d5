"""A workpiece in the scene: a collection whose objects carry their role, with the rest of what is known as JSON text.

The marks are plain custom properties, so a scene saved without the extension registered (by the command line) and one
saved by the extension are the same, and another program can read them. Landmarks and eyes are empties, lid margins
curves: they can be seen, listed, moved by hand, and what was moved by hand is what counts.
"""

import json
from typing import Any

import bpy
import numpy as np
from mathutils import Matrix

from ...geometry.cloud import Cloud
from ...geometry.errors import BadFile, BadMesh
from ...geometry.mesh import Mesh
from ...job import store
from ...steps.workpiece import Workpiece
from . import brow_curves, by_hand, exchange, looks, photo_cameras
from .new_shapes import NewShapes, same_shape, shapes_in
from .roles import ROLE
from .roles import object_with as object_with  # others ask for both here
from .roles import role_of as role_of
from .scene_marks import eye_by_hand, landmarks_by_hand, put_eyes, put_landmarks

RECORD = "canthus"
PASSES = "canthus_passes"
SHAPES = ("scan", "skin", "head")


def pieces_in(scene: bpy.types.Scene) -> list[bpy.types.Collection]:
    """The collections of the scene that hold a workpiece."""
    return [each for each in scene.collection.children_recursive if RECORD in each]


def piece_collection(context: bpy.types.Context) -> bpy.types.Collection | None:
    """The workpiece being worked on: that of the active object, else the last one in the scene."""
    found = pieces_in(context.scene)
    thing = context.view_layer.objects.active if context.view_layer else None
    if thing is not None:
        for collection in thing.users_collection:
            if collection in found:
                return collection
    return found[-1] if found else None


def facts_of(collection: bpy.types.Collection) -> dict[str, Any]:
    """What is known of the workpiece besides its shapes, as `job.store` packs it.

    Raises
    ------
    BadFile
        The text is damaged or of another version.
    """
    try:
        facts: dict[str, Any] = json.loads(collection[RECORD])
    except (ValueError, TypeError):
        raise BadFile(f'"{collection.name}": its record is damaged: load the scan again') from None
    return facts


def read_piece(
    collection: bpy.types.Collection, scene: bpy.types.Scene, read: dict[str, Mesh | Cloud] | None = None
) -> Workpiece:
    """The workpiece as the scene holds it now, with what was moved or edited by hand.

    `read` are its shapes by role, where they were read beforehand with `read_next`.

    Raises
    ------
    BadMesh, BadFile
        An object cannot be read (see `exchange.read_object`), or the record is damaged.
    """
    shapes = {} if read is None else read
    while read_next(collection, scene, shapes):
        pass
    for role in ("head", "skin"):
        if isinstance(shapes.get(role), Cloud):
            raise BadMesh(f'"{collection.name}": the {role} has lost its faces: undo, or run close again')
    return bare_piece(collection, scene).but(
        scan=shapes.get("scan"),
        head=shapes.get("head"),
        skin=shapes.get("skin"),
        parts={role.removeprefix("parts/"): shape for role, shape in shapes.items() if role.startswith("parts/")},
    )


def read_next(collection: bpy.types.Collection, scene: bpy.types.Scene, read: dict[str, Mesh | Cloud]) -> bool:
    """Read one more of the shapes into `read`, by role; False where all are read. So a window comes round between.

    Raises
    ------
    BadMesh
        The object cannot be read.
    """
    refuse_linked(collection)
    for thing in collection.objects:
        role = role_of(thing)
        ours = (role in SHAPES or role.startswith("parts/")) and object_with(collection, role) == thing
        if ours and role not in read:
            read[role] = exchange.read_object(thing, exchange.millimetres_per_unit(scene))
            return True
    return False


def bare_piece(collection: bpy.types.Collection, scene: bpy.types.Scene) -> Workpiece:
    """The workpiece without its shapes, which take long to read: landmarks and eyes as they stand now, and the record.

    Raises
    ------
    BadMesh, BadFile
        An eye or a margin cannot be read, or the record is damaged.
    """
    facts = facts_of(collection)
    openings = facts.pop("openings", {})
    arrays = {"frame": np.array(facts.pop("frame", np.eye(4).tolist()), dtype=np.float64)}
    arrays |= {f"eyes/{number}/opening": np.array(points) for number, points in openings.items()}
    piece = store.unpack(arrays, {**facts, "shapes": {}})
    unit = exchange.millimetres_per_unit(scene)
    return piece.but(
        landmarks=landmarks_by_hand(piece, collection, unit),
        eyes=tuple(eye_by_hand(eye, collection, unit) for eye in piece.eyes),
    )


def size(collection: bpy.types.Collection) -> int:
    """Points and vertices of all its shapes."""
    return sum(len(thing.data.vertices) for thing in collection.objects if thing.type == "MESH")


def refuse_linked(collection: bpy.types.Collection) -> None:
    """Raises `BadMesh` where the head belongs to another file, which cannot be written from here."""
    for each in (collection, *collection.objects):
        if each.library is not None or each.override_library is not None:
            raise BadMesh(f'"{each.name}" is linked from another file: append it instead, or make it local')


def write_piece(
    piece: Workpiece,
    scene: bpy.types.Scene,
    collection: bpy.types.Collection | None = None,
    before: Workpiece | None = None,
    new: NewShapes | None = None,
) -> bpy.types.Collection:
    """Put the workpiece into the scene, or bring its collection up to date.

    Only what differs from `before` (the workpiece as it was read) is written, so an undo step holds no more than
    what changed. `new` is that, where it was made beforehand.
    """
    if collection is None:
        collection = bpy.data.collections.new(f"Canthus {piece.name}")
        scene.collection.children.link(collection)
    if before is not None:
        texts = (collection[RECORD], record_of(before), record_of(piece))
        by_hand.keep(collection, *(json.loads(text) for text in texts))
    unit = exchange.millimetres_per_unit(scene)
    shapes = shapes_in(piece)
    new = new or NewShapes(piece, before, collection, unit)
    while new.go_on():
        pass
    for role, shape in new.wanted.items():
        _put_shape(collection, role, new.take(role), shape, unit, piece)
    for thing in list(collection.objects):
        role = role_of(thing)
        if (role in SHAPES or role.startswith("parts/")) and role not in shapes:
            bpy.data.objects.remove(thing)
    put_landmarks(collection, piece, unit)
    put_eyes(collection, piece, unit)
    if before is not None and not np.array_equal(piece.frame, before.frame):
        motion = piece.frame @ np.linalg.inv(before.frame)
        photo_cameras.follow(collection, motion, unit)
        brow_curves.follow(collection, motion, unit)
    collection[RECORD] = record_of(piece)
    by_hand.note_form(collection)
    looks.show_latest(collection, piece, before)
    return collection


def same_piece(one: Workpiece, other: Workpiece) -> bool:
    """Whether two workpieces hold the same, to the last bit."""
    shapes, others = shapes_in(one), shapes_in(other)
    if shapes.keys() != others.keys() or record_of(one) != record_of(other):
        return False
    return all(same_shape(shape, others[role]) for role, shape in shapes.items())


def record_of(piece: Workpiece) -> str:
    """All of the workpiece but its shapes, as JSON text."""
    bare = piece.but(scan=None, head=None, skin=None, parts={})
    _, facts = store.pack(bare)
    facts["frame"] = piece.frame.tolist()
    facts["openings"] = {str(k): eye.opening.tolist() for k, eye in enumerate(piece.eyes) if eye.opening is not None}
    return json.dumps(facts)


def _put_shape(
    collection: bpy.types.Collection,
    role: str,
    data: bpy.types.Mesh,
    shape: Mesh | Cloud,
    unit: float,
    piece: Workpiece,
) -> bpy.types.Object:
    """New data for the object of that role; the object itself stays, with its name, its place in lists."""
    data.name = f"{piece.name} {role.removeprefix('parts/')}"
    thing = object_with(collection, role)
    if thing is None:
        thing = bpy.data.objects.new(data.name, data)
        thing[ROLE] = role
        collection.objects.link(thing)
    else:
        old, thing.data = thing.data, data
        thing.parent, thing.matrix_basis = None, Matrix()
        if old.users == 0:
            bpy.data.meshes.remove(old)
    sensors = shape.sensors if isinstance(shape, Cloud) else None
    if sensors is not None:
        thing["canthus_sensors"] = (sensors / unit).ravel().tolist()
    elif "canthus_sensors" in thing:
        del thing["canthus_sensors"]
    looks.dress(thing, role, shape, piece, unit)
    return thing
