"""The work cut open from front to back: through an eye, and through what joins the head to its body."""

from collections.abc import Callable, Iterator

import bpy
import numpy as np
from numpy.typing import NDArray

from ...geometry.mesh import Mesh
from ...steps.workpiece import Workpiece
from .cameras import View
from .sections import inner_halves, paint_plane

Add = Callable[[str, Mesh], bpy.types.Object]
Cut = tuple[View, tuple[bpy.types.Object, ...]]


def cut_views(piece: Workpiece, target: tuple[float, float, float], width: float, add: Add) -> Iterator[Cut]:
    """The views and what each shows.

    Parameters
    ----------
    piece : with its eyes and its history
    target, width : how all of it is looked at, millimetres
    add : puts one more mesh on the stage
    """
    yield from _through_an_eye(piece, target, width, add)
    yield from _through_the_joint(piece, add)


def _through_an_eye(piece: Workpiece, target: tuple[float, float, float], width: float, add: Add) -> Iterator[Cut]:
    """The side of the first eye taken away: all of it, and the eye in its socket."""
    for eye in piece.eyes[:1]:
        outward = 1.0 if eye.side == "left" else -1.0
        halves = _halves(piece, np.asarray(eye.centre), outward, "cut", add)
        if not halves:
            return
        turn = 90 * outward
        yield View(f"section-{eye.side}", f"Cut through the {eye.side} eye", turn, 0, target, width), halves
        title = f"The {eye.side} eye in its socket, cut"
        yield View(f"section-eye-{eye.side}", title, turn, 0, eye.centre, 2.4 * max(eye.diameter, 1e-3)), halves


def _through_the_joint(piece: Workpiece, add: Add) -> Iterator[Cut]:
    """A cup or a bore in the neck, cut through its axis; a peg shows by itself."""
    titles = {"cup": "The cup for the ball, cut", "magnet": "The bore for the magnet, cut"}
    found = [done.figures for done in piece.history if done.name == "neck" and "cut_at_mm" in done.figures]
    if found and found[-1].get("kind") in titles:
        at, up = (np.asarray(found[-1][key], dtype=np.float64) for key in ("cut_at_mm", "cut_up"))
        width = 1.3 * float(found[-1]["neck_width_mm"])
        halves = _halves(piece, at, 1.0, "joint", add)
        if halves:
            middle = tuple((at + 0.3 * width * up).tolist())
            yield View("joint", titles[found[-1]["kind"]], 90, 0, middle, width), halves


def _halves(
    piece: Workpiece, origin: NDArray[np.float64], outward: float, what: str, add: Add
) -> tuple[bpy.types.Object, ...]:
    """What is left of the parts when one side is cut away, its cut faces painted."""
    inner = inner_halves(piece, origin, outward)
    halves = tuple(add(f"{what} {name}", half) for name, half in inner.items())
    for name, half in zip(inner, halves, strict=True):
        paint_plane(half.data, name, origin, np.array([outward, 0.0, 0.0]))
    return halves
