"""The step that says, before anything else, whether the scan was worth taking."""

from dataclasses import dataclass

from ...geometry.progress import SILENT, Progress
from ..clean.cloud_target import cloud_of
from ..step import Step, setting
from ..workpiece import Workpiece


@dataclass(frozen=True)
class Assess(Step):
    """Say whether the scan resolves an eyelid: spacing, noise, dropouts, and the smallest fold that survives."""

    NAME = "assess"
    STAGE = "intake"

    resolved: float = setting(
        1.6, low=0.2, high=5.0, unit="mm", at="life", help="Smallest fold up to which lids count as resolved"
    )
    soft: float = setting(
        2.6, low=0.2, high=10.0, unit="mm", at="life", help="Smallest fold up to which lids count as soft"
    )

    def apply(self, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
        """The workpiece unchanged, with what was measured and the verdict.

        Notes
        -----
        If a capture of a known test bust does not show the eyelids, the scanner wants calibrating (common practice, no
        source). The fold of an upper lid is some 2 mm wide; the two bounds are ours, by looking at simulated captures.
        """
        from ...geometry.quality import quality_of

        progress(0.0, "measuring spacing and noise")
        found = quality_of(cloud_of(piece, self.NAME).points)
        if found.fold <= self.resolved:
            verdict, advice = "lids resolved", ""
        elif found.fold <= self.soft:
            verdict, advice = "lids soft", "scan the face again from nearer, or count on rebuild-lids"
        else:
            verdict, advice = "lids lost", "recalibrate the scanner and scan the test bust again"
        piece = piece.measured(
            verdict=verdict,
            spacing_mm=found.spacing,
            worst_tenth_spacing_mm=found.worst_spacing,
            noise_mm=found.noise,
            worst_tenth_noise_mm=found.worst_noise,
            smallest_fold_mm=found.fold,
            worst_tenth_fold_mm=found.worst_fold,
            ragged_percent=100 * found.dropouts,
        )
        return piece.noted(f"Assessed: {verdict}: {advice}.") if advice else piece
