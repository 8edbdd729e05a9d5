"""The step that ends the head at the neck, with what joins it to a body."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...anatomy.neck import NeckCut, find_cut, narrowest_depth
from ...geometry.errors import BadSetting, NotPossible
from ...geometry.mesh import Mesh
from ...geometry.progress import SILENT, Progress
from ..kinds import ON_SKIN, kinds
from ..step import Step, setting
from ..workpiece import Workpiece
from .fits import FITS, clearance_of
from .magnets import Disc, disc_named, suiting

MOST_STRAIN = 3.0
"""Percent a cup's wall may be strained before it is remarked on: tough resins stand more, standard ones crack at a few
percent; common practice, no source."""


MOST_HOLLOW = 0.3
"""Share of the cut that may be holes: the airways of a scanned head take up less, the hollow of a shell more."""


@dataclass(frozen=True)
class Neck(Step):
    """End the head below chin and ears, with a peg, a cup for a ball, or a bore for a magnet."""

    NAME = "neck"
    STAGE = "output"
    READS = ON_SKIN
    CHANGES = kinds("head")

    kind: str = setting("peg", choices=("peg", "cup", "magnet"), help="What joins the head to its body")
    diameter: float = setting(
        0.0, low=0.0, high=100.0, unit="mm", at="print", help="Of the peg, the ball or the magnet; 0 suits the neck"
    )
    length: float = setting(
        0.0,
        low=0.0,
        high=200.0,
        unit="mm",
        at="print",
        help="Of the peg, or depth of the magnet's bore; 0 suits the diameter",
    )
    raise_by: float = setting(
        0.0, low=-200.0, high=200.0, unit="mm", at="print", help="Move the cut up from where it is found, or down (-)"
    )
    tilt: float = setting(
        0.0, low=-45.0, high=45.0, unit="deg", help="Turn the cut and the joint; positive raises its front"
    )
    fit: str = setting(
        "none", choices=tuple(FITS), help="Take the fit's clearance off the peg, or add it to cup or bore; none: as set"
    )
    fit_table: str = setting("", kind="path", help="Table of fits of your own printer, TOML: slip = 0.22")
    magnet: str = setting(
        "", help="Disc magnet from the table, diameter by height, such as 5x2; empty: as set, or the disc that suits"
    )
    magnet_table: str = setting("", kind="path", help="Table of magnets of your own, TOML: mine = [5.1, 2.05]")
    taper: float = setting(
        0.0, low=0.0, high=15.0, unit="deg", help="Slope of the peg's side; the diameter is at its root"
    )
    chamfer: float = setting(
        0.5, low=0.0, high=10.0, unit="mm", at="print", help="At the peg's tip, or the mouth of cup or bore"
    )
    flat: float = setting(
        0.0, low=0.0, high=20.0, unit="mm", at="print", help="Depth of a flat on the peg's back, against turning"
    )
    collar: float = setting(
        0.0,
        low=0.0,
        high=200.0,
        unit="mm",
        at="print",
        help="Diameter the neck is brought to at the cut, blending upward; 0: left",
    )
    collar_height: float = setting(
        0.0,
        low=0.0,
        high=100.0,
        unit="mm",
        at="print",
        help="Height over which the collar blends; 0: half its diameter",
    )
    wall: float = setting(
        1.0, low=0.2, high=20.0, unit="mm", at="print", help="Least material left round a cup or bore"
    )
    opening: float = setting(0.94, low=0.7, high=0.99, help="Opening of the cup over its ball's diameter")
    slots: int = setting(4, low=0, high=12, help="Relief slots in the cup's wall, which lets it give way; 0: none")
    lip: float = setting(0.6, low=0.3, high=5.0, unit="mm", at="print", help="Thickness of the cup's wall")

    def apply(self, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
        """The workpiece whose head ends in the joint."""
        from ...geometry.solids.collar import brought_to_circle
        from ...geometry.solids.trimming import largest_above

        progress(0.0, "looking for the neck")
        head = piece.needed_head()
        marks = {name: np.asarray(mark.position) for name, mark in piece.landmarks.items() if mark.sure}
        cut = find_cut(head, marks, self.raise_by, np.radians(self.tilt))
        if cut.hollow > MOST_HOLLOW:
            raise NotPossible(
                f"neck: {100 * cut.hollow:.0f} % of the cut is hollow, so there is nothing to join to: "
                "run neck before hollow, or move the cut (raise_by)"
            )
        progress(0.3, "cutting the neck")
        trimmed = largest_above(head, cut.plane)
        if self.collar:
            height = self.collar_height or self.collar / 2
            trimmed = brought_to_circle(trimmed, cut.plane, self.collar / 2, height)
        progress(0.6, f"making the {self.kind}")
        joined, figures = self._joined(trimmed, cut)
        piece = piece.but(head=joined).measured(**figures, **_where(cut))
        for remark in _remarks(cut, figures, marks):
            piece = piece.noted(remark)
        return piece

    def _joined(self, head: Mesh, cut: NeckCut) -> tuple[Mesh, dict[str, Any]]:
        """The head with the joint made, and the joint's figures."""
        width = 2 * narrowest_depth(head, cut.plane, 0.0)
        clearance = clearance_of(self.fit, self.fit_table)
        make = {"peg": self._peg, "cup": self._cup, "magnet": self._magnet}[self.kind]
        diameter = self.diameter or _suiting(self.kind, width, self.wall)
        joined, figures = make(head, cut, diameter, clearance)
        return joined, {"kind": self.kind, "fit_clearance_mm": clearance, "neck_width_mm": width, **figures}

    def _peg(self, head: Mesh, cut: NeckCut, diameter: float, clearance: float) -> tuple[Mesh, dict[str, Any]]:
        from ...geometry.solids.booleans import union
        from ...geometry.solids.joints import Peg

        own = diameter - clearance
        peg = Peg(own, self.length or 1.25 * diameter, np.radians(self.taper), min(self.chamfer, 0.15 * own), self.flat)
        room = 2 * narrowest_depth(head, cut.plane, 0.5 * diameter)
        if own > room:
            raise _too_thin("peg", own, room, cut, room)
        joined = union(head, peg.solid(0.5 * diameter).moved(cut.plane.matrix))
        figures = {
            "peg_diameter_mm": own,
            "peg_length_mm": peg.length,
            "peg_tip_mm": peg.tip,
            "hole_diameter_mm": diameter,
        }
        return joined, figures

    def _magnet(self, head: Mesh, cut: NeckCut, diameter: float, clearance: float) -> tuple[Mesh, dict[str, Any]]:
        from ...geometry.solids.booleans import difference
        from ...geometry.solids.joints import magnet_bore

        disc = self._disc(diameter)
        diameter, depth = (disc.diameter, self.length or disc.height) if disc else (diameter, self.length)
        bore, depth = diameter + clearance, depth or 0.4 * diameter
        lead = min(self.chamfer, 0.1 * bore, 0.5 * depth)
        room = 2 * narrowest_depth(head, cut.plane, depth + self.wall)
        if bore + 2 * (self.wall + lead) > room:
            raise _too_thin(
                "magnet", bore + 2 * (self.wall + lead), room, cut, room - 2 * (self.wall + lead) - clearance
            )
        joined = difference(head, magnet_bore(bore, depth, lead).moved(cut.plane.matrix))
        return joined, {"magnet_mm": diameter, "bore_diameter_mm": bore, "bore_depth_mm": depth}

    def _disc(self, most: float) -> Disc | None:
        """The magnet that was named, or the widest one up to `most`; None where its size was set by itself."""
        if self.magnet:
            if self.diameter:
                raise BadSetting("neck: magnet and diameter are two sizes: give one of them")
            return disc_named(self.magnet, self.magnet_table)
        return None if self.diameter else suiting(most, self.magnet_table)

    def _cup(self, head: Mesh, cut: NeckCut, diameter: float, clearance: float) -> tuple[Mesh, dict[str, Any]]:
        from ...geometry.solids.booleans import difference
        from ...geometry.solids.joints import BallCup

        lead = min(self.chamfer, 0.05 * diameter)
        cup = BallCup(diameter, clearance, self.opening * diameter, self.lip, self.slots, 0.12 * diameter, lead)
        room = 2 * narrowest_depth(head, cut.plane, cup.depth + self.wall)
        needed = 2 * (cup.outer_radius + self.wall)
        if needed > room:
            raise _too_thin("cup", needed, room, cut, diameter - (needed - room))
        joined = difference(head, cup.tool().moved(cut.plane.matrix))
        figures = {
            "ball_diameter_mm": diameter,
            "cup_diameter_mm": 2 * cup.radius,
            "opening_mm": cup.opening,
            "lip_deflection_mm": cup.deflection,
            "lip_strain_percent": 100 * cup.strain,
        }
        return joined, figures


def _suiting(kind: str, width: float, wall: float) -> float:
    """A diameter for a neck so wide, in steps of half a millimetre."""
    share = {"peg": 0.45, "magnet": 0.4, "cup": 0.35}[kind]
    return max(0.5 * round(2 * share * width), 0.5)


def _too_thin(kind: str, needed: float, room: float, cut: NeckCut, largest: float) -> NotPossible:
    """What to say when the joint does not go into the neck."""
    x, y, z = cut.plane.origin
    advice = f"take {largest:.1f} mm at most" if largest > 0.5 else "take another kind"
    return NotPossible(
        f"neck: a {kind} that takes up {needed:.1f} mm does not go into a neck {max(room, 0.0):.1f} mm across at "
        f"({x:.1f}, {y:.1f}, {z:.1f}): {advice}, or move the cut (raise_by)"
    )


def _where(cut: NeckCut) -> dict[str, Any]:
    return {
        "cut_at_mm": cut.plane.origin.round(4).tolist(),
        "cut_up": cut.plane.up.round(6).tolist(),
        "cut_from": cut.found,
        "cut_area_mm2": cut.outline.area,
    }


def _remarks(cut: NeckCut, figures: dict[str, Any], marks: dict[str, NDArray[np.float64]]) -> list[str]:
    """What a sculptor must know of this neck."""
    remarks = []
    if cut.found == "lowest section":
        remarks.append(
            "The head ends before its neck narrows, so the joint was put on its lowest whole section, "
            f"{cut.width:.1f} mm across: look at it"
        )
    if "gnathion" in marks and cut.plane.heights(marks["gnathion"][None])[0] < 0:
        remarks.append("The cut goes through the chin: lower it (raise_by) or tilt it (tilt)")
    if figures.get("lip_strain_percent", 0.0) > MOST_STRAIN:
        remarks.append(
            f"The cup's lip is bent by {figures['lip_strain_percent']:.1f} % as the ball goes in, and may crack: "
            "a wider opening, a thinner lip or a larger ball bends it less"
        )
    return remarks
