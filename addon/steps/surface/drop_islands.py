"""The step that drops what does not hang together with the head."""

from dataclasses import dataclass

from ...geometry.progress import SILENT, Progress
from ..kinds import SURFACE
from ..step import Step, setting
from ..workpiece import Workpiece
from .target import mended, surface_of, with_surface


@dataclass(frozen=True)
class DropIslands(Step):
    """Drop the loose pieces of the surface."""

    NAME = "drop-islands"
    STAGE = "surface"
    READS = SURFACE
    CHANGES = SURFACE

    share: float = setting(
        5.0, low=0.0, high=100.0, unit="%", help="Area, of the largest piece's, below which a piece is dropped"
    )

    def apply(self, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
        """The workpiece without them."""
        from ...geometry.measures import components
        from ...geometry.mending.islands import loose_triangles

        progress(0.0, "looking for loose pieces")
        piece, mesh = mended(piece, surface_of(piece, self.NAME))
        loose = loose_triangles(mesh, self.share / 100)
        label = components(mesh)
        piece = piece.measured(
            pieces=int(label.max(initial=-1)) + 1,
            pieces_dropped=len(set(label[loose].tolist())),
            triangles_dropped=int(loose.sum()),
        )
        return with_surface(piece, mesh.kept(~loose) if loose.any() else mesh)
