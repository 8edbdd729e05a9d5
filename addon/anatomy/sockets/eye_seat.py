"""What an eye rests on at its depth: a ring pressed in behind it, or a ledge in the pocket of one set from the front.

Lengths are print size, about the globe's centre with +z along the gaze. The ring sits against a step of its bore, so
that its depth is that of the step and not that of the hand that pressed it in.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...geometry.mesh import Mesh
from ...geometry.solids.booleans import difference
from ...geometry.solids.primitives import cylinder, revolved
from ..eyes.eye import EyeShape, arc

FLAT = 0.3
"""Radii behind the centre where a half-round eye is cut, its widest ring left whole (common practice, no source)."""

FINENESS = 0.0004
"""Deepest facet of the pocket under its true sphere, in radii: keeps its volume within 0.1 % of the closed form."""

# Proportions of our own, in radii of the eye; no source.
_STEP, _LEAST_STEP = 0.15, 0.25  # width of the step the ring sits against, and the least of it that prints, mm
_DEPTH = 0.6  # behind the centre: a full-round eye's step, where the eye has drawn in to 0.8 of its radius
_HOLE = 0.45  # of the ring, for the stem, a finger's push and the glue
_LIP, _PLATE = 0.16, 0.4  # thickness behind the deepest of a dish, and of a flat ring
_LEDGE = (0.44, 0.87)  # radians from the back pole between which a full-round eye rests on its ledge
_WELL_WIDTH, _WELL_DEPTH = 0.7, 0.2  # under the ledge of a half-round eye: room for glue


@dataclass(frozen=True)
class Seat:
    """The seat of one eye.

    Parameters
    ----------
    shape, half : the eye's size, and whether it is half-round with a flat back
    clearance : between eye and pocket
    gap : between eye and seat, and all round the ring in its bore
    """

    shape: EyeShape
    half: bool
    clearance: float
    gap: float

    @property
    def depth(self) -> float:
        """How far behind the globe's centre the step lies that the ring sits against."""
        return FLAT * self.shape.sclera + self.gap if self.half else _DEPTH * self.shape.sclera

    @property
    def bore(self) -> float:
        """Radius of the bore from the step backwards."""
        return self.shape.sclera + self.clearance + max(_STEP * self.shape.sclera, _LEAST_STEP)

    @property
    def back(self) -> float:
        """How far behind the globe's centre the ring ends."""
        radius = self.shape.sclera
        if self.half:
            return self.depth + _PLATE * radius
        return float(np.sqrt((radius + self.gap) ** 2 - (_HOLE * radius) ** 2)) + _LIP * radius

    def ring(self) -> Mesh:
        """The ring as a closed solid: a dish the full-round eye lies in, or a flat one under a flat back."""
        radius, outer, sag = self.shape.sclera, self.bore - self.gap, FINENESS * self.bore
        front = np.array([(0.0, -self.depth)])
        if not self.half:
            rim = float(np.arccos(self.depth / (radius + self.gap)))
            # The facets of a dish are cut off inside it, so that its sphere is drawn a facet wider.
            front = arc(0.0, radius + self.gap + sag, np.pi - rim, np.pi, sag)
        outline = np.concatenate([[(0.0, -self.back), (outer, -self.back), (outer, -self.depth)], front])
        hole = cylinder((0.0, 0.0, -self.back - radius), (0.0, 0.0, radius), _HOLE * radius, sag)
        return difference(revolved(on_axis(outline), sag=sag), hole)


def closed_pocket(shape: EyeShape, half: bool, clearance: float, gap: float | None) -> NDArray[np.float64]:
    """(k, 2) outline of radius and height of a pocket that is closed behind, from its back to its front pole.

    Parameters
    ----------
    shape, half, clearance : as those of a `Seat`
    gap : between eye and ledge; None for a pocket without one
    """
    radius, wide = shape.sclera, shape.sclera + clearance
    sag = FINENESS / 2 * wide  # outlines that are turned lose along both ways of their faces
    if half:
        floor = FLAT * radius + (clearance if gap is None else gap)
        pocket = [arc(0.0, wide, float(np.pi - np.arccos(floor / wide)), 0.0, sag)]
        well = floor if gap is None else floor + _WELL_DEPTH * radius
        across = [] if gap is None else [(_WELL_WIDTH * radius, -well), (_WELL_WIDTH * radius, -floor)]
        return on_axis(np.concatenate([[(0.0, -well), *across], *pocket]))
    if gap is None:
        return on_axis(arc(0.0, wide, np.pi, 0.0, sag))
    inner, outer = np.pi - _LEDGE[0], np.pi - _LEDGE[1]
    ledge = arc(0.0, radius + gap, inner, outer, sag)
    return on_axis(np.concatenate([arc(0.0, wide, np.pi, inner, sag), ledge, arc(0.0, wide, outer, 0.0, sag)]))


def on_axis(outline: NDArray[np.float64]) -> NDArray[np.float64]:
    """The outline with both its ends laid on the axis."""
    ends = np.ones(len(outline))
    ends[[0, -1]] = 0.0
    return outline * np.column_stack([ends, np.ones(len(outline))])
