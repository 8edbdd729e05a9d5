"""The step that fills holes."""

from dataclasses import dataclass

from ...geometry.progress import SILENT, Progress
from ..kinds import SURFACE
from ..step import Step, setting
from ..workpiece import Workpiece
from .target import mended, surface_of, with_surface


@dataclass(frozen=True)
class Patch(Step):
    """Fill the holes of a surface so that it runs on smoothly, and list them."""

    NAME = "patch"
    STAGE = "surface"
    READS = SURFACE
    CHANGES = SURFACE

    widest: float = setting(
        60.0, low=0.0, high=1000.0, unit="mm", help="Holes wider than this are listed and left; 0 only lists"
    )

    def apply(self, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
        """The workpiece with its smaller holes filled."""
        from ...geometry.mending.patching import holes, patched

        progress(0.0, "looking for holes")
        piece, mesh = mended(piece, surface_of(piece, self.NAME))
        found, knotted = holes(mesh)
        filled = [hole for hole in found if hole.width <= self.widest]
        after = patched(mesh, filled, progress.stretch(0.1, 1.0))
        piece = piece.measured(
            holes=len(found),
            holes_filled=len(filled),
            rims_that_touch_themselves=knotted,
            widths_mm=[hole.width for hole in found],
            places_mm=[hole.middle.tolist() for hole in found],
            filled=[hole.width <= self.widest for hole in found],
        )
        if knotted:
            piece = piece.noted(f"{knotted} rims touch themselves and were left open: close surfaces the scan anew.")
        return with_surface(piece, after)
