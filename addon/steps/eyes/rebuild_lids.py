"""The step that builds the lids anew on the eyes that go in."""

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ...anatomy.eyes.dimensions import GLOBE_WIDTH
from ...anatomy.eyes.fissure import CORNERS
from ...geometry.errors import NotPossible
from ...geometry.mesh import Mesh
from ...geometry.progress import Progress
from ..kinds import ON_SKIN, kinds
from ..step import setting
from ..workpiece import Eye, Workpiece
from .each_eye import EyeStep
from .one_eye import fissure_of

if TYPE_CHECKING:
    from ...anatomy.eyes.fissure import Fissure
    from ...anatomy.lids.lid_building import BuiltLids, EyeBed, LidWishes
    from ...anatomy.lids.margin_files import Margins


_FISSURES = (20.5, 32.7)
"""Lengths of fissure beyond which a corner was hardly found, mm at life size: three standard deviations under the
mean of 52 women, 26.04 ± 1.83, and over that of 51 men, 27.64 ± 1.67 (BioMed Res Int 2013, 821428)."""

_LONGEST_SHUT = 27.1
"""Of a shut eye, whose corners show least, mm at life size: the mean of 76 young adults, 27.1 ± 1.5 (Read et al.
2006); a place that is known to 3 mm tells less than they do."""

_CREASED = 2.5  # mm at life size by which a margin may be higher than weak landmarks of it

_BEFORE_THEM = "spectacles, hair or lashes that stand before them are to be cut out of the scan"

_SIZES = "draw their margins, move the landmarks, or set fissure_length and fissure_height to the sitter's own"

_SET_IN = (
    "the skin about the {side} eye is torn or covered, so its new lids were set in as a plug and what stood before "
    "them was cut away: look along the plug's edge, just beyond the lids"
)

_PRINTS = 0.25
"""mm: five pixels of a desktop machine. A lid is held along its whole length; under 0.15 mm `check` calls it grave."""
_TOLD = 0.005  # mm: less is nothing
_EATEN = 0.03  # mm of a lid that eye and clearance take up, from which it is told


@dataclass(frozen=True)
class RebuildLids(EyeStep):
    """Replace the lump where the lids were by lids of clean form that wrap the eyes, joined smoothly to the skin."""

    NAME = "rebuild-lids"
    STAGE = "eyes"
    NEEDS = ("head", "eyes")
    READS = ON_SKIN | kinds("eyes")
    CHANGES = kinds("eyes", "head")

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
    found: str = setting(
        "best",
        choices=("best", "scan", "landmarks", "published"),
        help="What margins not drawn come from: the scan where it shows an eye, else sure landmarks, else usual sizes",
    )
    aperture: float = setting(1.0, low=0.3, high=3.0, help="Height of the opening against what was found")
    fissure_length: float = setting(
        0.0, low=0.0, high=45.0, unit="mm", at="life", help="Straight from corner to corner; 0 as found"
    )
    fissure_height: float = setting(
        0.0, low=0.0, high=20.0, unit="mm", at="life", help="Straight from margin to margin; 0 as found"
    )
    upper_peak: float = setting(
        0.0, low=0.0, high=90.0, unit="%", help="Where the upper lid peaks, from inner to outer corner; 0 as found"
    )
    lower_peak: float = setting(
        0.0, low=0.0, high=90.0, unit="%", help="Where the lower lid peaks, from inner to outer corner; 0 as found"
    )
    canthal_tilt: float = setting(
        0.0, low=-20.0, high=20.0, unit="deg", help="Raise the outer corners by so much more than found"
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

        bed, source = self._bed(piece, eye, drawn)
        try:
            made = built_lids(piece.needed_head(), piece.scale, bed, wishes)
        except NotPossible as reason:
            return piece.noted(f"the {eye.side} lids stay as they were scanned: {reason}; {_BEFORE_THEM}")
        if source == "shut":
            found = fissure_of(piece, eye.side, bed.centre, bed.sitter).length
            source = f"the {eye.side} eye was scanned shut: {_opened(made.size.height, found)}"
        for note in filter(None, (source, _SET_IN.format(side=eye.side) if made.plugged else "")):
            piece = piece.noted(note)
        x, y, z = ((bed.centre - made.sunk * bed.axis) * piece.scale).tolist()
        eyes = list(piece.eyes)
        eyes[number] = replace(eye, centre=(x, y, z), opening=made.opening * piece.scale)
        return self._told(piece.but(head=made.head, eyes=tuple(eyes)), eye.side, made)

    def _bed(self, piece: Workpiece, eye: Eye, drawn: "Margins") -> tuple["EyeBed", str]:
        """What the lids of one eye are built on, at life size, and what is to be said of where that came from: "shut"
        for an eye that was scanned shut.
        """
        from ...anatomy.eyes.eye import EyeShape
        from ...anatomy.lids.lid_building import EyeBed
        from ...anatomy.lids.lid_sources import usually_peaked

        if eye.opening is None:
            raise NotPossible(f"rebuild-lids: the {eye.side} eye has no opening: run place-eyes again")
        scale, sitter = piece.scale, _sitter_globe(piece) / 2
        centre, axis = np.array(eye.centre) / scale, np.array(eye.gaze)
        lids = drawn.get(eye.side)
        lids = None if lids is None else (lids[0] / scale, lids[1] / scale)
        fissure, margin = fissure_of(piece, eye.side, centre, sitter), eye.opening / scale
        lost, source = False, ""
        if lids is not None:
            margin = np.concatenate([lids[0], lids[1][::-1]])
        elif not fissure.is_open and self.found != "published":
            fissure = usually_peaked(fissure.drawn_in(_LONGEST_SHUT, centre).opened())
            margin, source = fissure.curve(180), "shut"
        else:
            fissure, margin, lost, source = self._told_by(piece, eye, fissure, margin, sitter)
        shape, gap = EyeShape(eye.diameter / scale), self.clearance / scale
        return EyeBed(fissure, margin, centre, sitter, shape, axis, gap, lids, bool(source), lost), source

    def _told_by(
        self, piece: Workpiece, eye: Eye, fissure: "Fissure", margin: NDArray[np.float64], sitter: float
    ) -> tuple["Fissure", NDArray[np.float64], bool, str]:
        """Fissure and margin of one eye by the scan, its landmarks or published sizes; whether the scan shows nothing
        of the lids; and what is to be said of all that.
        """
        from ...anatomy.lids.globe_placing import shows_eye
        from ...anatomy.lids.lid_sources import PUBLISHED, told_fissure

        centre = np.array(eye.centre) / piece.scale
        life = Mesh(piece.needed_head().vertices / piece.scale, piece.needed_head().triangles)
        shown = shows_eye(life, margin, centre, sitter)
        if self.found == "scan":
            return fissure, margin, not shown, ""
        corners, middles = (_is_sure(piece, eye.side, names) for names in (CORNERS[:2], CORNERS[2:]))
        told = told_fissure(fissure, centre, corners, middles, self.found == "published")
        # Between weak landmarks a margin that stands far over them is likelier the crease.
        followed = shown and (middles or float(np.ptp(margin[:, 2])) < told.fissure.height + _CREASED)
        if self.found == "best" and followed and told.height != PUBLISHED:
            return fissure, margin, False, ""
        why = (
            "as asked" if self.found != "best" else "its landmarks are weak" if shown else "the scan shows no eye there"
        )
        length, height = told.fissure.length, told.fissure.height
        size = f"{length:.1f} mm long from {told.length}, {height:.1f} mm high from {told.height}"
        lids = "" if shown else ", thickness and crease from published sizes"
        note = f"the {eye.side} lids were built from numbers, since {why}: {size}{lids}; {_SIZES}"
        return told.fissure, told.fissure.curve(180), not shown, note

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


def _is_sure(piece: Workpiece, side: str, names: tuple[str, ...]) -> bool:
    """Whether landmarks of one eye were found, and none of them weakly."""
    marks = [piece.landmarks.get(f"{name}-{side}") for name in names]
    return all(mark is not None and mark.sure for mark in marks)


def _sitter_globe(piece: Workpiece) -> float:
    """Diameter of the sitter's globes as place-eyes took it, mm at life size."""
    placed = [done for done in piece.history if done.name == "place-eyes"]
    return float(placed[-1].settings["globe"]) if placed else GLOBE_WIDTH
