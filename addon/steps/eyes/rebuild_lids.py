"""The step that builds the lids anew on the eyes that go in."""

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from ...anatomy.eyes.dimensions import GLOBE_WIDTH
from ...geometry.errors import NotPossible
from ...geometry.progress import Progress
from ..step import setting
from ..workpiece import Eye, Workpiece
from .each_eye import EyeStep
from .one_eye import fissure_of

if TYPE_CHECKING:
    from ...anatomy.lids.lid_building import BuiltLids, EyeBed, LidWishes
    from ...anatomy.lids.margin_files import Margins


_FISSURES = (20.5, 32.7)
"""Lengths of fissure beyond which a corner was hardly found, mm at life size: three standard deviations under the
mean of 52 women, 26.04 ± 1.83, and over that of 51 men, 27.64 ± 1.67 (BioMed Res Int 2013, 821428)."""

_LONGEST_SHUT = 28.6
"""Of a shut eye, whose corners show least, mm at life size: one standard deviation over the mean of 76 young adults,
27.1 ± 1.5 (Read et al. 2006); a place that is known to 3 mm tells less than they do."""

_BEFORE_THEM = "spectacles, hair or lashes that stand before them are to be cut out of the scan"

_PRINTS = 0.25
"""mm: five pixels of a desktop machine. A lid is held along its whole length; under 0.15 mm `check` calls it grave."""
_TOLD = 0.005  # mm: less is nothing
_EATEN = 0.03  # mm of a lid that eye and clearance take up, from which it is told


@dataclass(frozen=True)
class RebuildLids(EyeStep):
    """Replace the lump where the lids were by lids of clean form that wrap the eyes, joined smoothly to the skin."""

    NAME: ClassVar[str] = "rebuild-lids"
    STAGE: ClassVar[str] = "eyes"

    clearance: float = setting(
        0.1, low=0.0, high=2.0, unit="mm", at="print", help="Gap between eye and lids; carve the sockets with the same"
    )
    least_lid: float = setting(
        _PRINTS, low=0.0, high=5.0, unit="mm", at="print", help="Thickness a lid gets where its true one prints no more"
    )
    thicken: str = setting(
        "inward",
        choices=("inward", "outward", "true"),
        help="Where a lid prints no more, set the eye back, or raise the lid; true: set it back for all of the lid",
    )
    thickness: float = setting(
        0.0, low=0.0, high=6.0, unit="mm", at="life", help="Thickness of the sitter's lids; 0 as the scan shows it"
    )
    margins: str = setting(
        "", kind="path", help="CSV file of lid margins drawn by hand, points in the head's millimetres as it stands"
    )
    aperture: float = setting(1.0, low=0.3, high=3.0, help="Height of the opening against what was found")
    fissure_length: float = setting(
        0.0, low=0.0, high=45.0, unit="mm", at="life", help="Straight from corner to corner; 0 as found"
    )
    fissure_height: float = setting(
        0.0, low=0.0, high=20.0, unit="mm", at="life", help="Straight from margin to margin; 0 as found"
    )
    upper_peak: float = setting(
        0.0,
        low=0.0,
        high=90.0,
        unit="%",
        help="Where the upper lid peaks, from inner to outer corner; 0 as found",
    )
    lower_peak: float = setting(
        0.0,
        low=0.0,
        high=90.0,
        unit="%",
        help="Where the lower lid peaks, from inner to outer corner; 0 as found",
    )
    canthal_tilt: float = setting(
        0.0,
        low=-20.0,
        high=20.0,
        unit="deg",
        help="Raise the outer corners by so much more than found",
    )
    crease_height: float = setting(
        0.0, low=0.0, high=14.0, unit="mm", at="life", help="Upper margin to crease; 0 as the scan shows it"
    )
    crease_depth: float = setting(0.8, low=0.0, high=3.0, unit="mm", at="life", help="Depth of the crease")
    blend: float = setting(3.5, low=1.0, high=12.0, unit="mm", at="life", help="Width of the join to the skin")

    def on_eyes(self, piece: Workpiece, progress: Progress) -> Workpiece:
        """The workpiece with new lids; where they cannot be built, the old ones stay and a note says why."""
        from ...anatomy.lids.margin_files import read_margins

        drawn = read_margins(self.margins) if self.margins else {}
        wishes = self._wishes(piece.scale)
        for number, eye in enumerate(piece.eyes):
            progress(number / 2, f"building the {eye.side} lids")
            piece = self._with_lids(piece, number, eye, wishes, drawn)
        return piece

    def _wishes(self, scale: float) -> "LidWishes":
        """What the settings ask for, at life size."""
        from ...anatomy.lids.lid_building import LidWishes
        from ...anatomy.lids.lid_fissure import FissureWishes

        return LidWishes(
            FissureWishes(
                self.fissure_length,
                self.fissure_height,
                self.aperture,
                self.upper_peak / 100,
                self.lower_peak / 100,
                float(np.radians(self.canthal_tilt)),
            ),
            self.crease_height,
            self.crease_depth,
            self.thickness,
            self.least_lid / scale,
            self.thicken,
            self.blend,
        )

    def _with_lids(self, piece: Workpiece, number: int, eye: Eye, wishes: "LidWishes", drawn: "Margins") -> Workpiece:
        """The workpiece with the lids of one eye, or with a note why they stay."""
        from ...anatomy.lids.lid_building import built_lids

        bed, shut = self._bed(piece, eye, drawn)
        try:
            made = built_lids(piece.needed_head(), piece.scale, bed, wishes)
        except NotPossible as reason:
            return piece.noted(f"the {eye.side} lids stay as they were scanned: {reason}; {_BEFORE_THEM}")
        if shut:
            found = fissure_of(piece, eye.side, bed.centre, bed.sitter).length
            piece = piece.noted(f"the {eye.side} eye was scanned shut: {_opened(made.size.height, found)}")
        x, y, z = ((bed.centre - made.sunk * bed.axis) * piece.scale).tolist()
        eyes = list(piece.eyes)
        eyes[number] = replace(eye, centre=(x, y, z), opening=made.opening * piece.scale)
        return self._told(piece.but(head=made.head, eyes=tuple(eyes)), eye.side, made)

    def _bed(self, piece: Workpiece, eye: Eye, drawn: "Margins") -> tuple["EyeBed", bool]:
        """What the lids of one eye are built on, at life size, and whether the eye was scanned shut."""
        from ...anatomy.eyes.eye import EyeShape
        from ...anatomy.lids.lid_building import EyeBed

        if eye.opening is None:
            raise NotPossible(f"rebuild-lids: the {eye.side} eye has no opening: run place-eyes again")
        scale, sitter = piece.scale, _sitter_globe(piece) / 2
        centre, axis = np.array(eye.centre) / scale, np.array(eye.gaze)
        lids = drawn.get(eye.side)
        lids = None if lids is None else (lids[0] / scale, lids[1] / scale)
        fissure, margin = fissure_of(piece, eye.side, centre, sitter), eye.opening / scale
        shut = lids is None and not fissure.is_open
        if shut:
            fissure = fissure.drawn_in(_LONGEST_SHUT, centre).opened()
            margin = fissure.curve(180)
        if lids is not None:
            margin = np.concatenate([lids[0], lids[1][::-1]])
        shape, gap = EyeShape(eye.diameter / scale), self.clearance / scale
        return EyeBed(fissure, margin, centre, sitter, shape, axis, gap, lids), shut

    def _told(self, piece: Workpiece, side: str, made: "BuiltLids") -> Workpiece:
        """The lids' figures, and what a sculptor must know of them."""
        scale, form, size = piece.scale, made.form, made.size
        figures = {
            "true_upper_lid_mm": made.true[0] * scale,
            "true_lower_lid_mm": made.true[1] * scale,
            "upper_lid_mm": form.upper * scale,
            "lower_lid_mm": form.lower * scale,
            "raised_mm": made.raised * scale,
            "set_back_mm": made.sunk * scale,
            "crease_height_mm_life": form.crease_height,
            "fissure_length_mm_life": size.length,
            "fissure_height_mm_life": size.height,
            "canthal_tilt_deg": float(np.degrees(size.tilt)),
        }
        piece = piece.measured(**{f"{side}_{name}": value for name, value in figures.items()})
        if not _FISSURES[0] < size.length < _FISSURES[1]:
            piece = piece.noted(
                f"the {side} fissure is {size.length:.1f} mm long at life size, which few adults' are: look at its "
                "corners among the landmarks, or set fissure_length"
            )
        thickness = self._on_thickness(made, scale)
        return piece.noted(f"the {side} lids{thickness}") if thickness else piece

    def _on_thickness(self, made: "BuiltLids", scale: float) -> str:
        """What was done to lids that print no more, or is missing of lids that do; nothing where they are true."""
        thin = min(made.true) * scale
        if made.raised * scale > _TOLD:
            return f" were raised by {made.raised * scale:.2f} mm to reach the {self.least_lid:g} mm that print surely"
        if made.sunk and thin < self.least_lid - _TOLD:
            return (
                f", {thin:.2f} mm at their thinnest at this scale, were thickened inward to the {self.least_lid:g} mm "
                f"that print surely: the eye was set back {made.sunk * scale:.2f} mm"
            )
        eaten = max(made.true[0] - made.form.upper, made.true[1] - made.form.lower) * scale
        if eaten > _EATEN:
            return (
                f" print at {min(made.form.upper, made.form.lower) * scale:.2f} mm: eye and clearance take {eaten:.2f} "
                "mm of their true thickness; thicken: true sets the eye back by as much"
            )
        return ""


def _opened(height: float, found: float) -> str:
    """How a shut eye was opened, mm at life size: so high, its corners found so far apart."""
    corners = f", and its corners drawn in from {found:.1f} mm apart" if found > _LONGEST_SHUT else ""
    return (
        f"its lids were opened to {height:.1f} mm at life size, about what most adults' are{corners}; set "
        "fissure_height or aperture to the sitter's own"
    )


def _sitter_globe(piece: Workpiece) -> float:
    """Diameter of the sitter's globes as place-eyes took it, mm at life size."""
    placed = [done for done in piece.history if done.name == "place-eyes"]
    return float(placed[-1].settings["globe"]) if placed else GLOBE_WIDTH
