"""The shapes of the scene as arrays, and what is worked out of them for drawing: once a shape, not at each redraw."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from ...geometry.errors import BadMesh
from ...geometry.mesh import Mesh
from ..scene import exchange, scene_piece
from . import drawing

_kept: dict[tuple[Any, ...], Any] = {}
_latest: dict[tuple[int, str], tuple[Any, Any]] = {}
"""By an object's mesh and what it is for: what it was last worked out with, and what came of it."""
_MOST_KEPT = 24


@dataclass(frozen=True)
class Overlay:
    """One thing drawn: its words and colour, and the places in the scene's units."""

    text: str
    colour: drawing.Colour
    places: NDArray[np.float64]


def once(thing: bpy.types.Object, what: Any, made: Callable[[], Any]) -> Any:
    """What `made` gives, kept until the object gets another mesh or stands elsewhere."""
    key = (*_form_of(thing), what)
    if key not in _kept:
        if len(_kept) >= _MOST_KEPT:
            _kept.pop(next(iter(_kept)))
        _kept[key] = made()
    return _kept[key]


def latest(thing: bpy.types.Object, what: str, by: tuple[Any, ...], made: Callable[[], Any]) -> Any:
    """What `made` gives with the settings `by`; only the last is kept, as a slider asks for a hundred of them."""
    key = (_form_of(thing), by)
    kept = _latest.get((thing.data.session_uid, what))
    if kept is None or kept[0] != key:
        kept = _latest[thing.data.session_uid, what] = (key, made())
    return kept[1]


def forget() -> None:
    """Drop what is kept: references do not outlive the file they belong to."""
    _kept.clear()
    _latest.clear()


def solids(collection: bpy.types.Collection) -> list[bpy.types.Object]:
    """The head and parts that can be seen."""
    return [
        thing
        for thing in collection.objects
        if scene_piece.role_of(thing).split("/")[0] in ("head", "skin", "parts")
        and thing.type == "MESH"
        and thing.visible_get()
    ]


def kept_shape(thing: bpy.types.Object) -> Mesh:
    """`shape_of` in the scene's units, once."""
    shape: Mesh = once(thing, "shape", lambda: shape_of(thing))
    return shape


def shape_of(thing: bpy.types.Object, unit: float = 1.0) -> Mesh:
    """The object's surface in the scene's units, or in millimetres where `unit` says how many there are in one."""
    shape = exchange.read_object(thing, unit)
    if not isinstance(shape, Mesh):
        raise BadMesh(f'"{thing.name}" has lost its faces: undo, or run its step again')
    return shape


def _form_of(thing: bpy.types.Object) -> tuple[Any, ...]:
    """What changes with an object's mesh or place."""
    stands = tuple(round(each, 6) for row in exchange.stands(thing) for each in row)
    return thing.data.session_uid, len(thing.data.vertices), stands
