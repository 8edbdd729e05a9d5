"""The room a part takes up in solids on its way off them."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ..mesh import Mesh
from ..progress import SILENT, Progress
from ..solids.booleans import as_mesh
from ..solids.sections import plane
from .levels import EVEN, Levels, slab, stacked
from .undercuts import DRAFT

if TYPE_CHECKING:
    from manifold3d import Manifold

_UPWARDS = 0.002
"""How much the room widens along the way: no slab's side falls on that of another."""


def passage(
    part: Mesh,
    solids: Sequence[Mesh],
    way: NDArray[np.float64],
    room: float,
    narrowest: float = 0.0,
    progress: Progress = SILENT,
) -> Mesh:
    """What would have to be taken out of the solids for the part to come off along a way.

    Parameters
    ----------
    part, solids : closed meshes that share nothing
    way : (3,) direction in which the part comes off
    room : gap beside the part all along its way, millimetres; a hundredth of the way down is added, as `freed` asks it
    narrowest : what the solids would keep between two such rooms is taken along where it is thinner, millimetres
    progress : told how far the work is

    Returns
    -------
    Closed mesh, which reaches beyond the solids; without triangles where nothing is in the way.

    Notes
    -----
    At each level it is what any level under it has of the part, outlines laid over each other, and the gap.
    """
    from manifold3d import CrossSection, JoinType

    levels = Levels.through(part, solids, frame := plane(part.vertices.mean(axis=0), way))
    # What comes off last is lifted through all of it, and `freed` widens its room by as much.
    room += DRAFT * float(np.ptp(frame.heights(part.vertices)))
    swept, slabs = CrossSection(), list["Manifold"]()
    for level in levels.told(levels.heights, progress, "looking at what is in its way"):
        swept = (swept + levels.part(level)).simplify(EVEN / 2)
        wide = swept.offset(room + _UPWARDS * (level - levels.heights[0]), JoinType.Round)
        if narrowest:
            wide = wide.offset(narrowest / 2, JoinType.Round).offset(-narrowest / 2, JoinType.Round)
        met = wide ^ levels.ground(level).offset(2 * room, JoinType.Round)
        # Taller than the step, so that each slab overlaps the next; upwards it only widens.
        slabs += slab(met, level - 0.5 * levels.step, 1.5 * levels.step)
    if not slabs:
        return Mesh(np.zeros((0, 3)), np.zeros((0, 3), np.int32))
    return as_mesh(stacked(slabs, frame), False)
