"""The step that takes lash clumps off the lids."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...geometry.cloud import Cloud
from ...geometry.errors import BadCloud
from ...geometry.mesh import Mesh
from ...geometry.progress import SILENT, Progress
from ..kinds import SCAN
from ..step import Step, setting
from ..workpiece import Workpiece
from .cloud_target import cloud_of


@dataclass(frozen=True)
class CullLashes(Step):
    """Remove the lash clumps and spikes that stand off the lids, and leave the lids."""

    NAME = "cull-lashes"
    STAGE = "clean"
    NEEDS = ("scan",)
    READS = SCAN
    CHANGES = SCAN

    clearance: float = setting(
        0.35, low=0.05, high=3.0, unit="mm", at="life", help="Height over the lid's skin that is let pass"
    )
    reach: float = setting(
        24.0, low=5.0, high=60.0, unit="mm", at="life", help="Radius of the region looked at round each eye"
    )
    mode: str = setting("remove", choices=("remove", "mark"), help="Remove lashes, or mark them in a column 'lash'")

    def apply(self, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
        """The workpiece without them, or with a column `lash`.

        The eyes are where their corners were placed; where those are not known, they are looked for on a coarse
        closing of the scan. Without a face nothing is culled, and a note says so.
        """
        from ...geometry.cleaning.bristles import bristles
        from ...geometry.neighbours import arranged

        cloud = cloud_of(piece, self.NAME)
        eyes = _placed(piece) or _looked_for(cloud, piece.scale, progress.stretch(0, 0.8))
        lash, spacing, looked_at = np.zeros(len(cloud), bool), 0.0, 0
        middle = cloud.points.mean(axis=0)
        for turn, centre in enumerate(eyes):
            progress(0.8 + 0.1 * turn, "looking round the eyes")
            near = np.flatnonzero(((cloud.points - centre) ** 2).sum(axis=1) < (self.reach * piece.scale) ** 2)
            if len(near) <= _FEWEST:  # half a face was scanned
                continue
            looked_at += 1
            way = (centre - middle) / np.linalg.norm(centre - middle)
            before = centre + 100 * piece.scale * way
            spacing = max(spacing, arranged(cloud.points[near]).spacing() / piece.scale)
            lash[near] |= bristles(cloud.points[near], before, self.clearance * piece.scale)
        piece = piece.measured(lash_points=int(lash.sum()), eyes_looked_at=looked_at)
        if not looked_at:
            return piece.noted("No eyes were found on the scan, so no lash was culled: place the eyes' corners.")
        if spacing > _TOO_COARSE:
            piece = piece.noted(
                f"Round the eyes points lie {spacing:.1f} mm apart: too few to tell all lashes from the lids. "
                "Scan the face from nearer, or count on rebuild-lids."
            )
        return piece.but(scan=self._without(piece.scan, cloud, lash))

    def _without(self, scan: Cloud | Mesh | None, cloud: Cloud, lash: NDArray[np.bool_]) -> Cloud | Mesh:
        if self.mode == "mark":
            return (scan if isinstance(scan, Mesh) else cloud).with_column("lash", lash.astype(np.uint8))
        if isinstance(scan, Mesh):
            return scan.kept(~scan.triangles_at(lash)) if lash.any() else scan
        return cloud.kept(~lash)


_TOO_COARSE = 1.2
"""Millimetres at life size. Of simulated captures' lash points 1 % is left at a spacing of 1.04 mm, 21 % at 1.3, most
at 1.5."""

_FEWEST = 100  # points round an eye under which there is no face to speak of


def _placed(piece: Workpiece) -> list[NDArray[np.float64]]:
    """The middle of each eye's opening, between corners that are sure."""
    found = []
    for side in ("left", "right"):
        marks = [piece.landmarks.get(f"{corner}-{side}") for corner in ("endocanthion", "exocanthion")]
        places = [mark.position for mark in marks if mark is not None and mark.sure]
        if len(places) == 2:
            found.append(np.mean(places, axis=0))
    return found


_EYE_ASIDE, _EYE_BELOW = 31.7, 4.0
"""Millimetres from the sellion to the middle of an eye's opening: half the mean distance between pupils (ANSUR II,
reference_values.md section 1), and about as far below as the demo head's lies."""


def _looked_for(cloud: Cloud, scale: float, progress: Progress) -> list[NDArray[np.float64]]:
    """The middles of both eyes from the face found on a coarse closing: lashes hide corners, hardly the nose's root."""
    from ...anatomy.face.proposals import propose_landmarks
    from ...geometry.surfacing.closing import closed_surface

    try:
        closed = closed_surface(cloud.points / scale, cloud.normals, None, 2.5, progress.stretch(0, 0.6))
    except BadCloud:
        return []
    found = propose_landmarks(closed.mesh, progress.stretch(0.6, 1))
    if found.face is None or "sellion" not in found.marks or found.marks["sellion"][1] < 0.5:
        return []
    sellion, pose = found.marks["sellion"][0], found.face.pose[:3, :3]
    return [scale * (sellion + side * _EYE_ASIDE * pose[0] - _EYE_BELOW * pose[2]) for side in (1, -1)]
