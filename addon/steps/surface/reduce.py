"""The step that makes the mesh lighter."""

from dataclasses import dataclass

from ...geometry.progress import SILENT, Progress
from ..kinds import SURFACE
from ..step import Step, setting
from ..workpiece import Workpiece
from .target import surface_of, with_surface


@dataclass(frozen=True)
class Reduce(Step):
    """Reduce the triangles to a number, or to as few as keep a deviation."""

    NAME = "reduce"
    STAGE = "surface"
    READS = SURFACE
    CHANGES = SURFACE

    triangles: int = setting(200_000, low=4, high=100_000_000, help="Triangles wanted, where no deviation is given")
    deviation: float = setting(
        0.0, low=0.0, high=10.0, unit="mm", help="Farthest the surface may move; 0 goes by triangles"
    )

    def apply(self, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
        """The workpiece with a lighter surface and how far that lies from the one before."""
        from ...geometry.mending.reducing import farthest_apart, reduced, reduced_within

        before = surface_of(piece, self.NAME)
        if self.deviation:
            after = reduced_within(before, self.deviation, progress.stretch(0, 0.8))
        else:
            after = reduced(before, self.triangles)
        progress(0.9, "measuring what moved")
        piece = piece.measured(
            triangles_before=len(before.triangles),
            triangles=len(after.triangles),
            farthest_moved_mm=farthest_apart(before, after),
        )
        return with_surface(piece, after)
