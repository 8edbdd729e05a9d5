"""The step that takes ripples out of a surface."""

from dataclasses import dataclass

import numpy as np

from ...geometry.progress import SILENT, Progress
from ..kinds import SURFACE
from ..step import Step, setting
from ..workpiece import Workpiece
from .target import surface_of, with_surface


@dataclass(frozen=True)
class Smooth(Step):
    """Smooth ripples out of the surface without shrinking it."""

    NAME = "smooth"
    STAGE = "surface"
    LIGHT = True
    READS = SURFACE
    CHANGES = SURFACE

    passes: int = setting(10, low=1, high=500, help="Double steps: one that shrinks, one that swells")
    strength: float = setting(0.5, low=0.05, high=0.95, help="Share of the way to its neighbours' mean a vertex goes")
    pass_band: float = setting(0.1, low=0.001, high=0.9, help="Waves below this are kept; 0.1 keeps lids")

    def apply(self, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
        """The workpiece with its surface smoothed."""
        from ...geometry.mending.smoothing import smoothed

        before = surface_of(piece, self.NAME)
        after = smoothed(before, self.passes, self.strength, self.pass_band, progress)
        moved = np.linalg.norm(after.vertices - before.vertices, axis=1)
        piece = piece.measured(moved_rms_mm=float(np.sqrt((moved**2).mean())), moved_most_mm=float(moved.max()))
        return with_surface(piece, after)
