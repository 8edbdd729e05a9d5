"""The step that takes lash clumps off the lids."""

from dataclasses import dataclass

import numpy as np

from ...geometry.errors import NotReady
from ...geometry.mesh import Mesh
from ...geometry.progress import SILENT, Progress
from ..step import Step, setting
from ..workpiece import Workpiece
from .cloud_target import cloud_of


@dataclass(frozen=True)
class CullLashes(Step):
    """Remove the lash clumps and spikes that stand off the lids, and leave the lids."""

    NAME = "cull-lashes"
    STAGE = "clean"

    clearance: float = setting(
        0.35, low=0.05, high=3.0, unit="mm", at="life", help="Height over the lid's skin that is let pass"
    )
    reach: float = setting(
        24.0, low=5.0, high=60.0, unit="mm", at="life", help="Radius of the region looked at round each eye"
    )
    mode: str = setting("remove", choices=("remove", "mark"), help="Remove lashes, or mark them in a column 'lash'")

    def apply(self, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
        """The workpiece without them, or with a column `lash`. The corners of the eyes must be known."""
        from ...geometry.bristles import bristles

        cloud = cloud_of(piece, self.NAME)
        sides = [side for side in ("left", "right") if f"endocanthion-{side}" in piece.landmarks]
        if not sides:
            raise NotReady("cull-lashes looks round the eyes: run landmarks, or place the corners of the eyes, first")
        if isinstance(piece.scan, Mesh) and self.mode == "remove":
            raise NotReady("cull-lashes removes points and the scan is a mesh: mark them, or load the points alone")
        lash = np.zeros(len(cloud), bool)
        middle = cloud.points.mean(axis=0)
        for side in sides:
            progress(sides.index(side) / len(sides), f"looking round the {side} eye")
            corners = [piece.needed_landmark(f"{corner}-{side}") for corner in ("endocanthion", "exocanthion")]
            centre = np.mean(corners, axis=0)
            near = np.flatnonzero(((cloud.points - centre) ** 2).sum(axis=1) < self.reach**2)
            way = (centre - middle) / np.linalg.norm(centre - middle)
            lash[near] = bristles(cloud.points[near], centre + 100 * way, self.clearance)
        piece = piece.measured(lash_points=int(lash.sum()), eyes_looked_at=len(sides))
        if self.mode == "remove":
            return piece.but(scan=cloud.kept(~lash))
        marked = cloud.with_column("lash", lash.astype(np.uint8))
        if isinstance(piece.scan, Mesh):
            return piece.but(scan=Mesh(piece.scan.vertices, piece.scan.triangles, piece.scan.colours, marked.columns))
        return piece.but(scan=marked)
