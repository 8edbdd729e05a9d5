"""A part and what it lies on, cut into outlines at even levels along the way it comes off."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ..errors import BadMesh
from ..mesh import Mesh
from ..progress import Progress
from ..solids.booleans import as_solid
from ..solids.sections import Plane

if TYPE_CHECKING:
    from manifold3d import CrossSection, Manifold

_STEP, _MOST = 0.1, 300
"""Millimetres from one level to the next, and how many there are at most. Where what overhangs is rounded as a ball of
1 mm, a level in between reaches farther out by 0.001 mm."""
EVEN = 0.003
"""How far outlines may be off to be told by fewer corners, mm."""
_SCRAP = 1e-3
"""Square millimetres under which an outline is no slab: told by fewer corners there may be nothing of it left."""


@dataclass(frozen=True, eq=False)
class Levels:
    """`heights` over the frame's origin, ascending, from the part's lowest place to the solids' highest, all
    `step` apart.
    """

    heights: NDArray[np.float64]
    step: float
    _lain: "Manifold"
    _solids: Sequence["Manifold"]

    @classmethod
    def through(cls, part: Mesh, solids: Sequence[Mesh], frame: Plane) -> "Levels":
        """The levels of a frame through the part and what it lies on, closed meshes."""
        low = float(frame.heights(part.vertices).min())
        high = max(float(frame.heights(solid.vertices).max()) for solid in solids)
        step = max(_STEP, (high - low) / _MOST)
        inwards = np.linalg.inv(frame.matrix)[:3]
        cut = [as_solid(solid, None, f"solid {number + 1}").transform(inwards) for number, solid in enumerate(solids)]
        lain = as_solid(part, None, "the part").transform(inwards)
        return cls(np.arange(high - step / 2, low - step, -step)[::-1], step, lain, cut)

    def part(self, height: float) -> "CrossSection":
        """What the part has at a height."""
        return self._lain.slice(height)

    def ground(self, height: float) -> "CrossSection":
        """What all the solids have at a height."""
        own = self._solids[0].slice(height)
        for other in self._solids[1:]:
            own += other.slice(height)
        return own

    @staticmethod
    def told(heights: NDArray[np.float64], progress: Progress, what: str) -> Iterator[float]:
        """The heights one by one, the progress told."""
        for number, height in enumerate(heights.tolist()):
            if number % 20 == 0:
                progress(number / len(heights), what)
            yield height


def slab(outline: "CrossSection", low: float, tall: float) -> "list[Manifold]":
    """What stands on an outline at a height, so tall: one solid, or none where the outline is a scrap."""
    from manifold3d import Manifold

    told = outline.simplify(EVEN)
    return [Manifold.extrude(told, tall).translate((0.0, 0.0, low))] if told.area() > _SCRAP else []


def stacked(slabs: Sequence["Manifold"], frame: Plane) -> "Manifold":
    """Slabs made one, in the place of the frame.

    Raises
    ------
    BadMesh
        They cannot be joined: one that fails would make nothing of them all.
    """
    from manifold3d import Error, Manifold, OpType

    found = Manifold.batch_boolean(slabs, OpType.Add).transform(frame.matrix[:3])
    if found.status() != Error.NoError:
        raise BadMesh(f"the way off cannot be followed ({found.status().name}): repair the part and what it lies on")
    return found
