"""Holes through which resin leaves the hollow and the wash gets in."""

from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from ...geometry.errors import NotPossible
from ...geometry.mesh import Mesh
from ...geometry.progress import SILENT, Progress
from ...geometry.vents import Hole, crossings, hole_along, leading_place, lowest_place
from ..step import Step, setting
from ..workpiece import Workpiece

BACK = np.array([0.0, 1.0, 0.0])
"""Where a hole at the top is least seen: the posed face looks along -Y."""


@dataclass(frozen=True)
class Vent(Step):
    """Open every closed hollow at its lowest and its highest place, out of sight where that can be."""

    NAME: ClassVar[str] = "vent"
    STAGE: ClassVar[str] = "output"

    diameter: float = setting(
        2.0, low=0.3, high=20.0, unit="mm", at="print", help="Of the holes; under 1.5 to 2 mm resin hardly runs"
    )
    up: tuple[float, ...] = setting(
        (0.0, 0.0, 1.0), kind="point", help="The way up as the parts are printed: x,y,z; the neck is down by default"
    )
    neck: bool = setting(True, help="Drain a hollow that is open elsewhere through the neck as well")
    plugs: bool = setting(False, help="Make a plug for every hole, flush with the skin")
    plug_clearance: float = setting(
        0.05, low=0.0, high=1.0, unit="mm", at="print", help="Gap all round between a plug and its hole"
    )

    def apply(self, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
        """The workpiece without closed cavities."""
        from ...geometry.booleans import difference, intersection
        from ...geometry.cavities import closed_cavities

        piece.needed_head()
        up = np.asarray(self.up, dtype=np.float64) / max(float(np.linalg.norm(self.up)), 1e-300)
        if not np.any(up):
            raise NotPossible("vent: up has no length: give a direction such as 0,0,1")
        parts, placed = piece.all_parts(), []
        plugs: dict[str, Mesh] = {}
        for number, (name, part) in enumerate(sorted(parts.items())):
            progress(number / len(parts), f"looking for hollows in {name}")
            holes = self._holes(piece, name, part, up)
            if not holes:
                continue
            parts[name] = difference(part, *(hole.tool() for hole in holes))
            if closed_cavities(parts[name]):
                raise NotPossible(f"vent: a hollow of {name} is still closed: give another way up")
            if self.plugs:
                for hole in holes:
                    plug = intersection(hole.tool(self.plug_clearance), _between(hole), part)
                    plugs[f"plug-{len(plugs) + 1}"] = _without_scraps(plug)
            placed += [_told(name, hole) for hole in holes]
        head = parts.pop("head")
        vented = piece.but(head=head, parts={**parts, **plugs})
        return vented.measured(openings=len(placed), closed_cavities=0, holes=placed)

    def _holes(self, piece: Workpiece, name: str, part: Mesh, up: NDArray[np.float64]) -> list[Hole]:
        """Two holes for each closed hollow of a part, and one through the neck for a hollow that is open elsewhere."""
        from ...geometry.cavities import closed_cavities
        from ...geometry.rays import RayCaster

        radius = self.diameter / 2
        hollows = closed_cavities(part)
        axis = _neck_axis(piece) if name == "head" else None
        if not hollows and (axis is None or not self.neck):
            return []
        caster = RayCaster(part)
        if not hollows:
            return self._through_neck(caster, part, axis) if axis is not None else []
        holes = []
        back = up + 0.6 * BACK if name == "head" else up
        for hollow in hollows:
            start = lowest_place(hollow, up, radius, None if axis is None else axis[0])
            holes.append(hole_along(caster, start, -up, radius))
            start = leading_place(hollow, back / np.linalg.norm(back), radius)
            holes.append(hole_along(caster, start, back, radius))
        return holes

    def _through_neck(
        self, caster: Any, part: Mesh, axis: tuple[NDArray[np.float64], NDArray[np.float64]]
    ) -> list[Hole]:
        """The hole along the neck's axis up to the hollow; none where there is no hollow over it."""
        place, up = axis
        reach = float(np.ptp(part.vertices @ up))
        below = place - (reach + 1) * up
        face, floor, ceiling = crossings(caster, below, up, 3)
        if floor - face > 0.6 * reach or ceiling - floor < self.diameter:
            return []
        return [Hole(below + floor * up, below + face * up, self.diameter / 2)]


def _neck_axis(piece: Workpiece) -> tuple[NDArray[np.float64], NDArray[np.float64]] | None:
    """A point of the neck's axis and its direction up into the head, from what the neck step measured."""
    for done in reversed(piece.history):
        if done.name == "neck" and "cut_at_mm" in done.figures:
            return np.asarray(done.figures["cut_at_mm"], float), np.asarray(done.figures["cut_up"], float)
    return None


def _between(hole: Hole) -> Mesh:
    """A wide bar from the hollow's wall outwards, so that a plug does not reach into the hollow."""
    from ...geometry.solids import cylinder

    return cylinder(hole.inner, hole.outer + 2 * hole.radius * hole.way, 2 * hole.radius, 0.02)


def _without_scraps(mesh: Mesh) -> Mesh:
    from ...geometry.measures import components

    return mesh.kept(components(mesh) == 0)


def _told(name: str, hole: Hole) -> dict[str, Any]:
    return {
        "part": name,
        "at_mm": hole.outer.round(3).tolist(),
        "way": hole.way.round(5).tolist(),
        "diameter_mm": 2 * hole.radius,
        "length_mm": hole.length,
    }
