"""Plugs that close round holes again, flush with the skin, and the holes as each kind of plug needs them."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..distances.rays import RayCaster
from ..errors import NotPossible
from ..measures import components
from ..mesh import Mesh
from ..solids.booleans import intersection
from ..solids.primitives import revolved
from ..solids.seams import SEAM
from ..solids.sections import plane
from .vents import Hole

KINDS = ("straight", "taper", "lip")
_LEAST_LEFT = 0.3
"""Share of a hole's length that stays under a lip's recess: less would be pushed in with the plug."""
_ROUND = 24  # places round a lip where the skin over it is measured
_SAG = 0.002


@dataclass(frozen=True)
class Plug:
    """What plugs are like. Lengths in mm, angles in radians.

    `kind` is "straight" for a round bar, "taper" for one that widens outwards in a hole that does so too, so that it
    sits by itself and cannot fall in, "lip" for a bar whose wider head lies in a recess. `clearance` is by how much its
    hole is wider, on the diameter; `taper` the slope of the side; `lip` how far the head stands out all round, `thick`
    how thick it is where the skin is lowest; `lead` the chamfer at the inner end.
    """

    kind: str
    clearance: float
    taper: float
    lip: float
    thick: float
    lead: float

    def hole(self, hole: Hole, part: RayCaster) -> Mesh:
        """What is cut out of the part for the hole.

        Raises
        ------
        NotPossible
            A lip's recess would leave too little wall under it, or the skin falls away beside the hole.
        """
        return _along(hole, [(hole.radius, -2 * hole.radius), *self._outwards(hole, part)])

    def solid(self, hole: Hole, part: RayCaster, whole: Mesh) -> Mesh:
        """The plug for that hole, its outer face the part's own skin. `whole` is the part before the hole was cut."""
        closer = self.clearance / 2
        lead = min(self.lead, 0.2 * hole.length)
        tip = hole.radius - closer - lead
        if tip <= 0:
            raise NotPossible(f"a hole of {2 * hole.radius:g} mm leaves nothing of its plug: take less clearance")
        plug = intersection(_along(hole, [(tip, 0.0), *self._outwards(hole, part, lead, closer, SEAM)]), whole)
        return plug.kept(components(plug) == 0)

    def _outwards(
        self, hole: Hole, part: RayCaster, low: float = 0.0, closer: float = 0.0, over: float = 0.0
    ) -> list[tuple[float, float]]:
        """Radii and heights from `low` over the hole's inner end to beyond the skin.

        The plug's are `closer` to the axis than the hole's, and its lip lies `over` the recess.
        """
        radius, high = hole.radius - closer, hole.length + 2 * hole.radius
        if self.kind == "taper":
            return [(radius + height * float(np.tan(self.taper)), height) for height in (low, high)]
        if self.kind == "lip":
            floor, wide = self._floor(hole, part) + over, radius + self.lip
            return [(radius, low), (radius, floor), (wide, floor), (wide, high)]
        return [(radius, low), (radius, high)]

    def _floor(self, hole: Hole, part: RayCaster) -> float:
        """Height of a lip's recess over the hole's inner end: under the lowest skin about it by the lip's thickness."""
        middle = plane(hole.inner + 0.5 * hole.length * hole.way, hole.way)
        turns = 2 * np.pi * np.arange(_ROUND) / _ROUND
        ring = (hole.radius + self.lip) * np.column_stack([np.cos(turns), np.sin(turns)])
        starts = middle.placed(np.concatenate([0.6 * ring, ring]))
        away, _ = part.first_hit(starts, np.broadcast_to(hole.way, starts.shape), leaving=True)
        heights = 0.5 * hole.length + away
        x, y, z = hole.outer
        if not (np.ptp(heights) <= hole.length):
            raise NotPossible(
                f"the skin falls away beside the hole at ({x:.1f}, {y:.1f}, {z:.1f}): a lip does not lie on it; "
                "take another kind of plug, or a narrower lip"
            )
        floor = float(heights.min()) - self.thick
        if floor < _LEAST_LEFT * hole.length:
            raise NotPossible(
                f"the wall of {hole.length:.1f} mm at ({x:.1f}, {y:.1f}, {z:.1f}) is too thin for a lip of "
                f"{self.thick:g} mm: take a thinner one, or another kind of plug"
            )
        return floor


def _along(hole: Hole, profile: Sequence[tuple[float, float]]) -> Mesh:
    """The solid of a profile of radii and heights about the hole's axis, from its inner end."""
    return revolved(profile, hole.inner, hole.way, _SAG)
