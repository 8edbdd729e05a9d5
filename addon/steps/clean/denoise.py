"""The step that takes the scanner's noise out."""

from dataclasses import dataclass, replace

import numpy as np

from ...geometry.mesh import Mesh
from ...geometry.progress import SILENT, Progress
from ..kinds import SCAN
from ..step import Step, setting
from ..workpiece import Workpiece
from .cloud_target import cloud_of, outward


@dataclass(frozen=True)
class Denoise(Step):
    """Take the noise out of the scan and leave its creases in."""

    NAME = "denoise"
    STAGE = "clean"
    NEEDS = ("scan",)
    READS = SCAN
    CHANGES = SCAN

    reach: float = setting(
        0.0, low=0.0, high=20.0, unit="mm", at="life", help="Radius looked at round a point; 0 goes by the spacing"
    )
    crease: float = setting(
        15.0, low=5.0, high=90.0, unit="deg", help="Turn of the surface from which it counts as a crease"
    )

    def apply(self, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
        """The workpiece with its points drawn onto their surface, and with normals; a mesh keeps its triangles.

        A mesh that is smooth already, as most are that a scanner's own program made, is left as it is.
        """
        from ...geometry.cleaning.denoising import denoised
        from ...geometry.mending.mesh_noise import mesh_noise

        if isinstance(piece.scan, Mesh):
            noise = mesh_noise(piece.scan)
            if noise < max(_SMOOTH * piece.scale, _SHAPE * _edge(piece.scan)):
                return piece.measured(noise_mm=noise, moved_rms_mm=0.0, moved_most_mm=0.0)
        cloud = cloud_of(piece, self.NAME)
        found = denoised(cloud.points, self.reach * piece.scale, self.crease, progress.stretch(0, 0.9))
        moved = np.linalg.norm(found.points - cloud.points, axis=1)
        piece = piece.measured(
            reach_mm=found.reach,
            moved_rms_mm=float(np.sqrt((moved**2).mean())),
            moved_most_mm=float(moved.max()),
            left_points=int(found.thin.sum()),
        )
        if isinstance(piece.scan, Mesh):
            return piece.but(scan=replace(piece.scan, vertices=found.points))
        progress(0.9, "turning normals outward")
        return piece.but(scan=replace(cloud, points=found.points, normals=outward(cloud, found.normals)))


_SMOOTH = 0.03
"""Millimetres at life size. Well under what scanners leave, 0.05 to 0.1 (common practice, no source); the demo head's
own mesh on a grid of 2 mm, without any noise, shows 0.017."""

_SHAPE = 0.04
"""Of an edge's length: what the form alone of a mesh of few triangles shows as noise. The demo head without any,
reduced to edges of 0.9, 1.7 and 2.5 mm, shows 0.024, 0.035 and 0.044 of them; with noise of 0.1 mm 0.12, 0.073 and
0.065."""


def _edge(mesh: Mesh) -> float:
    """The length of a usual edge, millimetres."""
    a, b, _ = mesh.triangles.T
    return float(np.median(np.linalg.norm(mesh.vertices[a] - mesh.vertices[b], axis=1)))
