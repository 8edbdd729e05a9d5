"""How a part that was parted off goes back on: it and what it came off, both turned so that their keys are seen."""

from collections.abc import Callable, Iterator

import bpy
import numpy as np
from numpy.typing import NDArray

from ...geometry.mesh import Mesh
from ...job.assembly import numbers
from ...steps.workpiece import Done, Workpiece
from .cameras import View, bearings
from .drawn_apart import label

Add = Callable[[str, Mesh], bpy.types.Object]
_SIDE = np.array([0.47, 0.88, 0.0])
"""From behind on the sitter's left, where the rim's notch is: so it is looked at, and down the way the part goes on."""
_DOWN = 1.0  # of that way to one of the side


def keyed_views(
    piece: Workpiece, parts: dict[str, bpy.types.Object], add: Add
) -> Iterator[tuple[View, tuple[bpy.types.Object, ...]]]:
    """For each keyed part a view down on what it stands on, the part itself turned over beside it.

    Parameters
    ----------
    piece : with its parts and its history, which tells how they were keyed
    parts : the objects that stand for the parts
    add : puts one more mesh on the stage
    """
    for done in piece.history:
        name, seat = done.figures.get("part"), done.figures.get("keyed_to", "head")
        if done.name == "key" and "cut_up" in done.figures and name in parts and seat in parts:
            yield _view(piece, done, name, seat, parts, add)


def _view(
    piece: Workpiece, done: Done, name: str, seat: str, parts: dict[str, bpy.types.Object], add: Add
) -> tuple[View, tuple[bpy.types.Object, ...]]:
    part = piece.all_parts()[name]
    way, opening = (np.asarray(done.figures[key], dtype=np.float64) for key in ("cut_up", "cut_at_mm"))
    towards = _SIDE - (_SIDE @ way) * way + _DOWN * way
    towards /= np.linalg.norm(towards)
    right = np.cross([0.0, 0.0, 1.0], towards)
    right /= np.linalg.norm(right)
    turned = turned_over(part, way, towards)
    middle = (turned.vertices.min(axis=0) + turned.vertices.max(axis=0)) / 2
    breadth = float(np.ptp(part.vertices @ right))
    beside = np.eye(4)
    beside[:3, 3] = opening + 1.12 * breadth * right - middle
    turned = turned.moved(beside)
    title = f"How {name} keys to {seat}: {_by(done)}; on the right {name} turned over"
    target = opening + 0.56 * breadth * right
    view = View(f"key-{name}", title, *bearings(towards), tuple(target.tolist()), 2.45 * breadth)
    order = numbers(list(piece.all_parts()))
    marks = [
        each
        for which, mesh in ((seat, piece.all_parts()[seat]), (name, turned))
        for each in label(
            order[which], which, mesh.vertices[mesh.vertices @ way > opening @ way - 0.2 * breadth], view, add
        )
    ]
    return view, (parts[seat], add(f"{name} turned over", turned), *marks)


def _by(done: Done) -> str:
    """What keys it, in words."""
    if done.figures.get("keyed_by") == "rim":
        return "rim in rim, the notch lets it on one way only"
    return f"{done.figures.get('pins', 'some')} pins unevenly spaced, so that it goes on one way only"


def turned_over(part: Mesh, way: NDArray[np.float64], towards: NDArray[np.float64]) -> Mesh:
    """The part turned half round, so that what looked along `way` looks against it and its side that looks `towards`
    the camera still does.
    """
    axis = towards - (towards @ way) * way
    axis /= np.linalg.norm(axis)
    matrix = np.eye(4)
    matrix[:3, :3] = 2 * np.outer(axis, axis) - np.eye(3)
    return part.moved(matrix)
