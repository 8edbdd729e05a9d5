"""Holes through which resin leaves the hollow and the wash gets in."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...geometry.distances.rays import RayCaster
from ...geometry.errors import NotPossible
from ...geometry.mesh import Mesh
from ...geometry.printing.plugs import KINDS, Plug
from ...geometry.printing.vents import Hole, crossings, hole_along, leading_place, lowest_place
from ...geometry.progress import SILENT, Progress
from ..kinds import kinds
from ..step import Step, setting
from ..workpiece import Workpiece
from .fits import FITS, clearance_of

Vector = NDArray[np.float64]
BACK = np.array([0.0, 1.0, 0.0])
"""Where a hole at the top is least seen: the posed face looks along -Y."""


@dataclass(frozen=True)
class Vent(Step):
    """Open every closed hollow at its lowest and its highest place, out of sight where that can be."""

    NAME = "vent"
    STAGE = "output"
    READS = kinds("frame", "hair", "head", "parts", "scale")
    CHANGES = kinds("head", "parts")

    diameter: float = setting(
        2.0, low=0.3, high=20.0, unit="mm", at="print", help="Of the holes; under 1.5 to 2 mm resin hardly runs"
    )
    up: tuple[float, ...] = setting(
        (0.0, 0.0, 1.0), kind="point", help="The way up as the parts are printed: x,y,z; the neck is down by default"
    )
    neck: bool = setting(True, help="Drain a hollow that is open elsewhere through the neck as well")
    plugs: str = setting(
        "none",
        choices=("none", *KINDS),
        help="Make a plug for every hole, flush with the skin: a straight one, one that tapers, one with a lip",
    )
    plug_fit: str = setting(
        "press", choices=tuple(FITS), help="By how much a plug's hole is wider than the plug; none: not at all"
    )
    fit_table: str = setting("", kind="path", help="Table of fits of your own printer, TOML: slip = 0.22")
    plug_taper: float = setting(4.0, low=0.5, high=20.0, unit="deg", help="Slope of a tapering plug and of its hole")
    plug_lip: float = setting(
        0.0, low=0.0, high=10.0, unit="mm", at="print", help="Breadth of the lip round the plug; 0 suits the hole"
    )
    plug_thick: float = setting(
        0.5, low=0.2, high=5.0, unit="mm", at="print", help="Thickness of the lip, which lies in a recess"
    )

    def apply(self, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
        """The workpiece without closed cavities."""
        from ...geometry.printing.cavities import closed_cavities
        from ...geometry.solids.booleans import difference

        piece.needed_head()
        up = np.asarray(self.up, dtype=np.float64) / max(float(np.linalg.norm(self.up)), 1e-300)
        if not np.any(up):
            raise NotPossible("vent: up has no length: give a direction such as 0,0,1")
        parts, placed = piece.all_parts(), []
        plugs: dict[str, Mesh] = {}
        made: list[dict[str, Any]] = []
        shape = self._plug()
        for number, (name, part) in enumerate(sorted(parts.items())):
            progress(number / len(parts), f"looking for hollows in {name}")
            caster = RayCaster(part)
            holes = self._holes(piece, name, part, caster, up)
            if not holes:
                continue
            tools = [shape.hole(hole, caster) if shape else hole.tool() for hole in holes]
            parts[name] = difference(part, *tools)
            if closed_cavities(parts[name]):
                raise NotPossible(f"vent: a hollow of {name} is still closed: give another way up")
            neck = _neck_of(piece)
            if name == "head" and neck and neck.joint and any(neck.is_through(hole) for hole in holes):
                piece = piece.noted(
                    f"A hole of {self.diameter:g} mm has no room in the neck's face beside the {neck.kind}: the head "
                    "drains through it, and resin stays about it: take a narrower hole (diameter), or print it another "
                    "way up (up)"
                )
            told = [_told(name, hole) for hole in holes]
            placed += told
            if shape:
                for hole, about in zip(holes, told, strict=True):
                    plug = f"plug-{len(plugs) + 1}"
                    plugs[plug] = shape.solid(hole, caster, part)
                    made.append({"plug": plug, "kind": shape.kind, "clearance_mm": shape.clearance, **about})
        head = parts.pop("head")
        vented = piece.but(head=head, parts={**parts, **plugs})
        if made:
            vented = vented.measured(plugs=made)
        return vented.measured(openings=len(placed), closed_cavities=0, holes=placed)

    def _plug(self) -> Plug | None:
        """What the plugs are like; None where none are wanted."""
        if self.plugs == "none":
            return None
        clearance = clearance_of(self.plug_fit, self.fit_table)
        lip = self.plug_lip or max(0.25 * self.diameter, 0.5)
        return Plug(self.plugs, clearance, np.radians(self.plug_taper), lip, self.plug_thick, 0.1 * self.diameter)

    def _holes(self, piece: Workpiece, name: str, part: Mesh, caster: RayCaster, up: Vector) -> list[Hole]:
        """Two holes for each closed hollow of a part, and one through the neck for a hollow that is open elsewhere."""
        from ...geometry.printing.cavities import closed_cavities

        radius = self.diameter / 2
        hollows = closed_cavities(part)
        neck = _neck_of(piece) if name == "head" else None
        if not hollows and (neck is None or not self.neck):
            return []
        beside = neck.drain(part, caster, up, radius) if neck and neck.joint else None
        if not hollows:
            through = neck.hole(part, caster, radius) if neck else []
            return [beside] if through and beside else through
        holes = []
        back = up + 0.6 * BACK if name == "head" else up
        for hollow in hollows:
            if beside and _opens(beside, hollow):
                holes.append(beside)
            else:
                start = lowest_place(hollow, up, radius, neck.foot if neck else None)
                holes.append(hole_along(caster, start, -up, radius))
            start = leading_place(hollow, back / np.linalg.norm(back), radius)
            holes.append(hole_along(caster, start, back, radius))
        return holes


@dataclass(frozen=True, eq=False)
class _Neck:
    """The neck's end: the (3,) `foot` and unit vector `up` of its axis into the head, the `kind` of joint there, and
    the radius of what is hollowed out for it, over which the floor of the hollow rises; 0 for a peg.
    """

    foot: Vector
    up: Vector
    kind: str
    joint: float

    def hole(self, part: Mesh, caster: RayCaster, radius: float) -> list[Hole]:
        """The hole along the axis up to the hollow; none where there is no hollow over it."""
        reach = float(np.ptp(part.vertices @ self.up))
        below = self.foot - (reach + 1) * self.up
        face, floor, ceiling = crossings(caster, below, self.up, 3)
        if floor - face > 0.6 * reach or ceiling - floor < 2 * radius:
            return []
        return [Hole(below + floor * self.up, below + face * self.up, radius)]

    def drain(self, part: Mesh, caster: RayCaster, up: Vector, radius: float) -> Hole | None:
        """The hole from the lowest place of the floor beside the joint, where that is the hollow's lower end."""
        from ...geometry.printing.floors import floor_drain

        return floor_drain(part, caster, self.foot, self.up, up, radius, self.joint)

    def is_through(self, hole: Hole) -> bool:
        """Whether a hole comes out in the joint."""
        off = hole.outer - self.foot
        return float(np.linalg.norm(np.cross(off, self.up))) < self.joint + hole.radius and bool(hole.way @ self.up < 0)


def _neck_of(piece: Workpiece) -> _Neck | None:
    """What the neck step measured."""
    for done in reversed(piece.history):
        if done.name == "neck" and "cut_at_mm" in done.figures:
            told = done.figures
            widest = max(told.get("cup_diameter_mm", 0.0), told.get("bore_diameter_mm", 0.0))
            foot, up = (np.asarray(told[key], float) for key in ("cut_at_mm", "cut_up"))
            return _Neck(foot, up, told.get("kind", "peg"), widest / 2)
    return None


def _opens(hole: Hole, hollow: Mesh) -> bool:
    """Whether a hole begins at the floor of a hollow."""
    away, _ = RayCaster(hollow).first_hit(hole.outer[None], -hole.way[None])
    return bool(abs(away[0] - hole.length) < 1e-3)


def _told(name: str, hole: Hole) -> dict[str, Any]:
    return {
        "part": name,
        "at_mm": hole.outer.round(3).tolist(),
        "way": hole.way.round(5).tolist(),
        "diameter_mm": 2 * hole.radius,
        "length_mm": hole.length,
    }
