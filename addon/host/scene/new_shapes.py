"""The meshes that a workpiece needs in the scene, made one at a time so that a window comes round between them.

Where a shape has only moved or changed its values, a copy of the mesh it had is brought up to date: the host shares
what is the same between copies, and need not find the edges again, which takes longer than all else.
"""

import dataclasses
from typing import Any

import bpy
import numpy as np

from ...geometry.cloud import Cloud
from ...geometry.mesh import Mesh
from ...steps.workpiece import Workpiece
from . import columns, exchange
from .roles import object_with

Shape = Mesh | Cloud


def shapes_in(piece: Workpiece | None) -> dict[str, Shape]:
    """Role to shape of all that a workpiece holds."""
    if piece is None:
        return {}
    found: dict[str, Shape | None] = {"scan": piece.scan, "skin": piece.skin, "head": piece.head}
    found |= {f"parts/{name}": mesh for name, mesh in piece.parts.items()}
    return {role: shape for role, shape in found.items() if shape is not None}


class NewShapes:
    """What of a workpiece differs from what the scene holds. Call `go_on` until it is False, then `take` each role.

    Parameters
    ----------
    piece : what is to stand in the scene
    before : what stands there; None where nothing does
    collection : where it stands
    unit : millimetres in one unit of the scene
    """

    def __init__(
        self, piece: Workpiece, before: Workpiece | None, collection: bpy.types.Collection, unit: float
    ) -> None:
        self._name, self._collection, self._unit = piece.name, collection, unit
        self._old = shapes_in(before)
        self.wanted = {
            role: shape for role, shape in shapes_in(piece).items() if not same_shape(shape, self._old.get(role))
        }
        self._made: dict[str, bpy.types.Mesh] = {}

    def go_on(self) -> bool:
        """Make one more; False where all are made."""
        for role in self.wanted:
            if role not in self._made:
                self._made[role] = self._new(role)
                return True
        return False

    def take(self, role: str) -> bpy.types.Mesh:
        """The mesh for a role, the caller's from then on. Where an undo in between took it away it is made again."""
        made = self._made.pop(role, None)
        return made if made is not None and _is_there(made) else self._new(role)

    def drop(self) -> None:
        """Take away what was made and not taken."""
        for made in self._made.values():
            if _is_there(made):
                bpy.data.meshes.remove(made)
        self._made.clear()

    def _new(self, role: str) -> bpy.types.Mesh:
        shape = self.wanted[role]
        for other, made in self._made.items():  # the head is its own skin at first
            if self.wanted[other] is shape and _is_there(made):
                return made.copy()
        thing, old = object_with(self._collection, role), self._old.get(role)
        if thing is not None and old is not None and _only_moved(thing.data, old, shape):
            return _moved(thing.data, shape, self._unit)
        return exchange.new_data(self._name, shape, self._unit)


def same_shape(one: Shape | None, other: Shape | None) -> bool:
    """Whether two shapes hold the same, to the last bit of position and column."""
    if one is other:
        return True
    if one is None or other is None or type(one) is not type(other):
        return False
    arrays, others = (
        {**{each.name: getattr(shape, each.name) for each in dataclasses.fields(shape)}, **shape.columns}
        for shape in (one, other)
    )
    if arrays.keys() != others.keys():
        return False
    return all(name == "columns" or _same(arrays[name], others[name]) for name in arrays)


def _same(one: Any, other: Any) -> bool:
    """Whether two arrays, either of which may be None, hold the same; what is no number is the same as itself."""
    if one is None or other is None:
        return one is other
    return bool(np.array_equal(one, other, equal_nan=np.asarray(one).dtype.kind == "f"))


def _only_moved(data: bpy.types.Mesh, old: Shape, new: Shape) -> bool:
    """Whether a shape hangs together as the one that was read from this mesh, in the same colours."""
    if type(old) is not type(new) or (old.colours is None) != (new.colours is None):
        return False
    if new.colours is not None and not np.array_equal(old.colours, new.colours):
        return False
    if isinstance(old, Cloud) or isinstance(new, Cloud):
        return isinstance(old, Cloud) and isinstance(new, Cloud) and len(old) == len(new) == len(data.vertices)
    corners = (3 * len(old.triangles), 3 * len(data.polygons), len(data.loops))  # of three corners each, as written
    return (
        len(old.vertices) == len(new.vertices) == len(data.vertices)
        and corners == (3 * len(new.triangles),) * 3
        and np.array_equal(old.triangles, new.triangles)
    )


def _moved(data: bpy.types.Mesh, shape: Shape, unit: float) -> bpy.types.Mesh:
    """A copy of a mesh with the shape's places and values."""
    copy = data.copy()
    for name in exchange.SHOWN_ONLY:
        if name in copy.color_attributes:
            copy.color_attributes.remove(copy.color_attributes[name])
    exchange.write_points(copy, shape, unit)
    for name in columns.names(copy):
        if name not in shape.columns:
            columns.remove(copy, name)
    for name, values in shape.columns.items():
        columns.write(copy, name, np.asarray(values))
    copy.update()
    return copy


def _is_there(data: bpy.types.Mesh) -> bool:
    """Whether the host still has it."""
    try:
        return bool(data.name)
    except ReferenceError:
        return False
