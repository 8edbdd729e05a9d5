"""A part that lies on solids and reaches under them, trimmed so that it comes off along a straight way."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ..mesh import Mesh
from ..progress import SILENT, Progress
from .booleans import as_mesh, as_solid, plain_colour
from .sections import Plane, plane

if TYPE_CHECKING:
    from manifold3d import Manifold

_STEP, _LEVELS = 0.1, 300
"""Millimetres from one level to the next, and how many there are at most. Where what overhangs is rounded as a ball of
1 mm, a level in between reaches farther out by 0.001 mm."""
_SHALLOWEST = 0.004
"""Undercuts narrower than this are left, mm: less than files' rounding and a surface's roughness."""
_OVER = 3.0
"""Steps by which what is trimmed begins over the widest place, where sides are so upright that they would rub."""
_DRAFT = 0.01
"""How much the room widens downwards: it lets go at once, and no slab's side falls on that of another."""
_EVEN = 0.003
"""How far outlines may be off to be told by fewer corners, mm."""


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
    from manifold3d import Manifold, OpType

    frame = plane(part.vertices.mean(axis=0), way)
    low = float(frame.heights(part.vertices).min())
    high = max(float(frame.heights(solid.vertices).max()) for solid in solids)
    slabs = _shaded(part, solids, frame, low, high, room, progress)
    if not slabs:
        return part
    shade = Manifold.batch_boolean(slabs, OpType.Add).transform(frame.matrix[:3])
    plain = plain_colour((part,))
    return as_mesh(as_solid(part, plain, "the part") - _coloured(shade, plain), plain is not None)


def _shaded(
    part: Mesh, solids: Sequence[Mesh], frame: Plane, low: float, high: float, room: float, progress: Progress
) -> list["Manifold"]:
    """What of the part lies under the solids, and the room about it, as slabs between levels of the frame, downwards.

    Notes
    -----
    What is under the solids at a level is what any level above has of them: outlines laid over each other. A slab is
    what the part has of that, beside the level's own outline. So a slab's outer side is the outline that overhangs,
    upright and without steps, and nothing is trimmed where the solids only widen downwards.
    """
    from manifold3d import CrossSection, JoinType, Manifold

    inwards = np.linalg.inv(frame.matrix)[:3]
    cut = [as_solid(solid, None, f"solid {number + 1}").transform(inwards) for number, solid in enumerate(solids)]
    lain = as_solid(part, None, "the part").transform(inwards)
    step = max(_STEP, (high - low) / _LEVELS)
    above, slabs = CrossSection(), list[Manifold]()
    levels = np.arange(high - step / 2, low - step, -step)
    for number, level in enumerate(levels.tolist()):
        if number % 20 == 0:
            progress(number / len(levels), "looking at what overhangs the part")
        own: CrossSection = cut[0].slice(level)
        for other in cut[1:]:
            own += other.slice(level)
        under = ((above - own) ^ lain.slice(level)).offset(-_SHALLOWEST / 2, JoinType.Miter)
        if not under.is_empty():
            wider = _SHALLOWEST / 2 + room + _DRAFT * step * len(slabs)
            wide = under.offset(wider, JoinType.Round).simplify(_EVEN)
            # Taller than the step, so that each slab overlaps the next.
            slabs.append(Manifold.extrude(wide, (1.0 + _OVER) * step).translate((0.0, 0.0, level - 0.51 * step)))
        above = (above + own).simplify(_EVEN / 2)
    return slabs


def _coloured(solid: "Manifold", plain: NDArray[np.float64] | None) -> "Manifold":
    """The solid in one colour, where there is one: its faces become the part's."""
    if plain is None:
        return solid
    return solid.set_properties(3, lambda _place, _old: plain.tolist())
