"""The step that builds the lids anew on the eyes that go in."""

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from ...anatomy.dimensions import GLOBE_WIDTH
from ...geometry.errors import NotPossible
from ...geometry.progress import SILENT, Progress
from ..step import Step, setting
from ..workpiece import Workpiece
from .one_eye import fissure_of

if TYPE_CHECKING:
    from ...anatomy.lid_building import BuiltLids


@dataclass(frozen=True)
class RebuildLids(Step):
    """Replace the lump where the lids were by lids of clean form that wrap the eyes, joined smoothly to the skin."""

    NAME: ClassVar[str] = "rebuild-lids"
    STAGE: ClassVar[str] = "eyes"

    clearance: float = setting(
        0.1, low=0.0, high=2.0, unit="mm", at="print", help="Gap between eye and lids; carve the sockets with the same"
    )
    least_lid: float = setting(0.3, low=0.0, high=5.0, unit="mm", at="print", help="Thickness that prints surely")
    thicken: str = setting(
        "outward", choices=("outward", "inward"), help="Raise lids that are too thin, or sink the eyes behind them"
    )
    thickness: float = setting(
        0.0, low=0.0, high=6.0, unit="mm", at="life", help="Thickness of the sitter's lids; 0 as the scan shows it"
    )
    aperture: float = setting(1.0, low=0.3, high=3.0, help="Height of the opening against what was found")
    fissure_length: float = setting(
        0.0, low=0.0, high=45.0, unit="mm", at="life", help="From corner to corner along the lids; 0 as found"
    )
    fissure_height: float = setting(
        0.0, low=0.0, high=20.0, unit="mm", at="life", help="From margin to margin along the lids; 0 as found"
    )
    crease_height: float = setting(
        0.0, low=0.0, high=14.0, unit="mm", at="life", help="Upper margin to crease; 0 as the scan shows it"
    )
    crease_depth: float = setting(0.8, low=0.0, high=3.0, unit="mm", at="life", help="Depth of the crease")
    blend: float = setting(3.5, low=1.0, high=12.0, unit="mm", at="life", help="Width of the join to the skin")

    def apply(self, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
        """The workpiece with new lids; where they cannot be built, the old ones stay and a note says why."""
        from ...anatomy.eye import EyeShape
        from ...anatomy.lid_building import EyeBed, LidWishes, built_lids

        scale = piece.scale
        wishes = LidWishes(
            self.fissure_length,
            self.fissure_height,
            self.aperture,
            self.crease_height,
            self.crease_depth,
            self.thickness,
            self.least_lid / scale,
            self.blend,
        )
        head, eyes, built = piece.needed_head(), [], piece
        for number, eye in enumerate(piece.needed_eyes()):
            progress(number / 2, f"building the {eye.side} lids")
            if eye.opening is None:
                raise NotPossible(f"rebuild-lids: the {eye.side} eye has no opening: run place-eyes again")
            centre, axis = np.array(eye.centre) / scale, np.array(eye.gaze)
            sitter = _sitter_globe(piece) / 2
            fissure = fissure_of(piece, eye.side, centre, sitter)
            margin, shut = eye.opening / scale, not fissure.is_open
            if shut:
                fissure = fissure.opened()
                margin = fissure.curve(180)
            shape, gap = EyeShape(eye.diameter / scale), self.clearance / scale
            bed = EyeBed(fissure, margin, centre, sitter, shape, axis, gap)
            try:
                made = built_lids(head, scale, bed, wishes)
                raised = made.raised
                if self.thicken == "inward" and raised > 0:
                    bed = bed.sunk(raised)
                    made = built_lids(head, scale, bed, wishes)
            except NotPossible as reason:
                built = built.noted(f"the {eye.side} lids stay as they were scanned: {reason}")
                eyes.append(eye)
                continue
            head = made.head
            if shut:
                built = built.noted(
                    f"the {eye.side} eye was scanned shut: its lids were opened to {made.form.height:.1f} mm at life "
                    "size, about what most adults' are; set fissure_height or aperture to the sitter's own"
                )
            x, y, z = (bed.centre * scale).tolist()
            eyes.append(replace(eye, centre=(x, y, z), opening=made.opening * scale))
            built = self._told(built, eye.side, made, raised)
        return built.but(head=head, eyes=tuple(eyes))

    def _told(self, piece: Workpiece, side: str, made: "BuiltLids", raised: float) -> Workpiece:
        """The lids' figures, and a note where they were thickened."""
        scale, form, scanned = piece.scale, made.form, made.scanned_thickness
        piece = piece.measured(
            **{
                f"{side}_scanned_upper_lid_mm_life": scanned[0],
                f"{side}_scanned_lower_lid_mm_life": scanned[1],
                f"{side}_upper_lid_mm": form.upper * scale,
                f"{side}_lower_lid_mm": form.lower * scale,
                f"{side}_raised_mm": max(raised, 0.0) * scale,
                f"{side}_crease_height_mm_life": form.crease_height,
                f"{side}_fissure_length_mm_life": form.length,
                f"{side}_fissure_height_mm_life": form.height,
            }
        )
        if raised * scale > 0.005:
            how = "raised" if self.thicken == "outward" else "thickened inward, the eye sunk behind them,"
            piece = piece.noted(
                f"the {side} lids were {how} by {raised * scale:.2f} mm to reach the {self.least_lid:g} mm that "
                "print surely"
            )
        return piece


def _sitter_globe(piece: Workpiece) -> float:
    """Diameter of the sitter's globes as place-eyes took it, mm at life size."""
    placed = [done for done in piece.history if done.name == "place-eyes"]
    return float(placed[-1].settings["globe"]) if placed else GLOBE_WIDTH
