"""The step that says, before anything else, whether the scan was worth taking."""

from dataclasses import dataclass

from ...geometry.cloud import Cloud
from ...geometry.errors import BadFile, CanthusError
from ...geometry.mesh import Mesh
from ...geometry.progress import SILENT, Progress
from ..clean.cloud_target import cloud_of
from ..kinds import NOTHING, SCAN
from ..step import Step, setting
from ..workpiece import Workpiece


@dataclass(frozen=True)
class Assess(Step):
    """Say whether the scan resolves an eyelid: spacing, noise, dropouts, and the smallest fold that survives.

    With `bust`, the scan is one of that known test bust: it is laid onto it, and how far it is off and how much too
    large says whether the scanner is true.
    """

    NAME = "assess"
    STAGE = "intake"
    NEEDS = ("scan",)
    READS = SCAN
    CHANGES = NOTHING

    resolved: float = setting(
        1.6, low=0.2, high=5.0, unit="mm", at="life", help="Smallest fold up to which lids count as resolved"
    )
    soft: float = setting(
        2.6, low=0.2, high=10.0, unit="mm", at="life", help="Smallest fold up to which lids count as soft"
    )
    bust: str = setting(
        "", kind="path", help="Mesh of the known test bust, in millimetres, where the scan is one of it"
    )

    def apply(self, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
        """The workpiece unchanged, with what was measured and the verdict.

        Notes
        -----
        If a capture of a known test bust does not show the eyelids, the scanner wants calibrating (common practice, no
        source). The fold of an upper lid is some 2 mm wide; the two bounds are ours, by looking at simulated captures.
        """
        from ...geometry.cleaning.strays import GOOD, found_strays
        from ...geometry.clouds.quality import quality_of

        progress(0.0, "leaving out strays")
        cloud = cloud_of(piece, self.NAME)
        good = cloud.kept(found_strays(cloud.points, progress=progress.stretch(0, 0.6)).kind == GOOD)
        progress(0.6, "measuring spacing and noise")
        found = quality_of(good.points, good.normals)
        verdict, advice = self._verdict(found.spacing, found.noise, found.fold, piece.scale)
        piece = piece.measured(
            verdict=verdict,
            spacing_mm=found.spacing,
            worst_tenth_spacing_mm=found.worst_spacing,
            noise_mm=found.noise,
            worst_tenth_noise_mm=found.worst_noise,
            smallest_fold_mm=found.fold,
            worst_tenth_fold_mm=found.worst_fold,
            ragged_percent=100 * found.dropouts,
            stray_percent=100 * (1 - len(good) / len(cloud)),
            regions=[
                {
                    "place_mm": region.place.round(1).tolist(),
                    "surface_percent": 100 * region.share,
                    "spacing_mm": region.spacing,
                    "noise_mm": region.noise,
                    "smallest_fold_mm": region.fold,
                }
                for region in found.regions
            ],
        )
        worst = max(found.regions, key=lambda region: region.noise, default=None)
        if worst is not None and worst.noise > _NOISIER * found.noise:
            x, y, z = worst.place
            piece = piece.noted(
                f"Noise is {worst.noise:.2g} mm about ({x:.0f}, {y:.0f}, {z:.0f}), {found.noise:.2g} mm elsewhere: "
                "hair, a sitter who moved, or a slanting view."
            )
        if advice:
            piece = piece.noted(f"Assessed: {verdict}: {advice}.")
        return self._beside_the_bust(piece, cloud, progress) if self.bust else piece

    def _verdict(self, spacing: float, noise: float, fold: float, scale: float) -> tuple[str, str]:
        """Whether lids are resolved, soft or lost, and what keeps folds from surviving and what to do about it."""
        if fold <= self.resolved * scale:
            return "lids resolved", ""
        bust = "recalibrate the scanner and scan the test bust again"
        if 2 * spacing > 6 * noise:
            why = f"points lie {spacing:.2g} mm apart, so that no fold under {fold:.2g} mm survives"
            again, lost = "scan the face again from nearer", f"scan from nearer, and if that does not help, {bust}"
        else:
            why = f"noise of {noise:.2g} mm hides folds under {fold:.2g} mm"
            again, lost = "scan the face again, held still", bust
        if fold <= self.soft * scale:
            return "lids soft", f"{why}: {again}, or count on rebuild-lids"
        return "lids lost", f"{why}: {lost}"

    def _beside_the_bust(self, piece: Workpiece, cloud: Cloud, progress: Progress) -> Workpiece:
        """The workpiece with deviation and scale error against the known bust. Raises `BadFile`, `NotPossible`."""
        from ...files.reading import read
        from ...geometry.clouds.known_body import laid_on
        from ...geometry.distances.deviation import deviation_figures

        bust = read(self.bust)
        if not isinstance(bust, Mesh):
            raise BadFile(f"{self.bust}: holds points without faces: the test bust must be a surface")
        try:
            laid = laid_on(cloud.points, bust, progress)
        except CanthusError as fault:
            raise type(fault)(f"{self.bust}: {fault}") from fault
        error = 100 * (laid.size - 1)
        resized = deviation_figures(laid.off_resized)
        piece = piece.measured(
            **{f"bust_{name}": value for name, value in deviation_figures(laid.off).items()},
            bust_met_percent=100 * laid.met,
            bust_scale_error_percent=error,
            bust_resized_rms_mm=resized["rms_mm"],
            bust_resized_p95_mm=resized["p95_mm"],
        )
        if abs(error) > _SCALE_ERROR:
            piece = piece.noted(
                f"Against the test bust the scan is {abs(error):.2f} % too {'large' if error > 0 else 'small'}: "
                "calibrate the scanner's scale."
            )
        if resized["p95_mm"] > _DEVIATION:
            piece = piece.noted(
                f"Against the test bust 5 % of the scan lie more than {resized['p95_mm']:.2f} mm off, its size put "
                "right: calibrate the scanner, if that is the bust that was scanned."
            )
        return piece


_NOISIER = 2.0
"""Times the median noise from which a region's own is told; a judgement of ours."""

_SCALE_ERROR = 0.5
"""Per cent; common practice, no source."""

_DEVIATION = 0.5
"""95th percentile of the deviation once the size is put right, mm: the depth of a fold beside the lids. Common
practice, no source."""
