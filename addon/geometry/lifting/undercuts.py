"""What reaches under solids as it is lifted, trimmed so that it comes off along a straight way."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ..mesh import Mesh
from ..progress import SILENT, Progress
from ..solids.booleans import as_mesh, as_solid, plain_colour
from ..solids.sections import Plane, plane
from .levels import EVEN, Levels, slab, stacked

if TYPE_CHECKING:
    from manifold3d import Manifold

_SHALLOWEST = 0.004
"""Undercuts narrower than this are left, mm: less than files' rounding and a surface's roughness."""
_OVER = 3.0
"""Steps by which what is trimmed begins over the widest place, where sides are so upright that they would rub."""
DRAFT = 0.01
"""How much the room widens downwards: it lets go at once, and no slab's side falls on that of another."""


def freed(
    part: Mesh, solids: Sequence[Mesh], way: NDArray[np.float64], room: float, progress: Progress = SILENT
) -> Mesh:
    """The part without what would run into the solids as it is lifted along a way.

    Parameters
    ----------
    part, solids : closed meshes that share nothing
    way : (3,) direction in which the part comes off
    room : gap it is left beside what overhangs it, millimetres; it widens downwards by a hundredth of the way
    progress : told how far the work is

    Returns
    -------
    The part less all that lies under the solids as seen along the way; the part itself where nothing does.
    """
    shade = _shade(part, solids, way, room, progress)
    if shade is None:
        return part
    plain = plain_colour((part,))
    return as_mesh(as_solid(part, plain, "the part") - _coloured(shade, plain), plain is not None)


def caught(
    part: Mesh, solids: Sequence[Mesh], way: NDArray[np.float64], room: float, progress: Progress = SILENT
) -> Mesh:
    """What `freed` takes off the part, as a solid of its own; a mesh without triangles where that is nothing."""
    shade = _shade(part, solids, way, room, progress)
    if shade is None:
        return Mesh(np.zeros((0, 3)), np.zeros((0, 3), np.int32))
    return as_mesh(as_solid(part, None, "the part") ^ shade, False)


def _shade(
    part: Mesh, solids: Sequence[Mesh], way: NDArray[np.float64], room: float, progress: Progress
) -> "Manifold | None":
    """What of the part lies under the solids, and the room about it; None where that is nothing."""
    frame = plane(part.vertices.mean(axis=0), way)
    slabs = _slabs(part, solids, frame, room, progress)
    return stacked(slabs, frame) if slabs else None


def _slabs(part: Mesh, solids: Sequence[Mesh], frame: Plane, room: float, progress: Progress) -> list["Manifold"]:
    """The same as slabs between levels of the frame, downwards.

    Notes
    -----
    What is under the solids at a level is what any level above has of them: outlines laid over each other. A slab is
    what the part has of that, beside the level's own outline. So a slab's outer side is the outline that overhangs,
    upright and without steps, and nothing is trimmed where the solids only widen downwards.
    """
    from manifold3d import CrossSection, JoinType

    levels = Levels.through(part, solids, frame)
    above, slabs = CrossSection(), list["Manifold"]()
    for level in levels.told(levels.heights[::-1], progress, "looking at what overhangs the part"):
        own = levels.ground(level)
        under = ((above - own) ^ levels.part(level)).offset(-_SHALLOWEST / 2, JoinType.Miter)
        if not under.is_empty():
            wider = _SHALLOWEST / 2 + room + DRAFT * levels.step * len(slabs)
            wide = under.offset(wider, JoinType.Round)
            # A whole step down: what lies lower is under it too, and the part may end between two levels.
            slabs += slab(wide, level - 1.01 * levels.step, (1.5 + _OVER) * levels.step)
        above = (above + own).simplify(EVEN / 2)
    return slabs


def _coloured(solid: "Manifold", plain: NDArray[np.float64] | None) -> "Manifold":
    """The solid in one colour, where there is one: its faces become the part's."""
    if plain is None:
        return solid
    return solid.set_properties(3, lambda _place, _old: plain.tolist())
