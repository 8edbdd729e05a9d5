"""The step that takes away what belongs to no surface."""

from dataclasses import dataclass

import numpy as np

from ...geometry.cloud import Cloud
from ...geometry.errors import NotPossible, NotReady
from ...geometry.mesh import Mesh
from ...geometry.progress import SILENT, Progress
from ..kinds import SCAN
from ..step import Step, setting
from ..workpiece import Workpiece


@dataclass(frozen=True)
class CullStrays(Step):
    """Remove points that belong to no surface: lone ones, flying clusters, veils at depth edges."""

    NAME = "cull-strays"
    STAGE = "clean"
    NEEDS = ("scan",)
    READS = SCAN
    CHANGES = SCAN

    neighbours: int = setting(8, low=4, high=64, help="Points looked at around each point")
    spread: float = setting(
        4.0, low=0.5, high=6.0, help="Robust standard deviations of the log distance, against the points around, kept"
    )
    island: float = setting(
        1.0, low=0.0, high=50.0, unit="%", help="Extent of the largest piece below which a loose piece is culled"
    )
    mode: str = setting(
        "remove", choices=("remove", "mark"), help="Remove the strays, or mark them in a column 'stray'"
    )

    def apply(self, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
        """The workpiece with its scan culled, or marked: 0 surface, 1 lone, 2 cluster, 3 veil."""
        if piece.scan is None:
            raise NotReady("there is no scan to cull: load one first")
        if isinstance(piece.scan, Mesh):
            return self._of_mesh(piece, piece.scan)
        return self._of_cloud(piece, piece.scan, progress)

    def _of_cloud(self, piece: Workpiece, scan: Cloud, progress: Progress) -> Workpiece:
        from ...geometry.cleaning import strays

        found = strays.found_strays(scan.points, self.neighbours, self.spread, self.island / 100, progress)
        good = found.kind == strays.GOOD
        if not good.any():
            raise NotPossible("every point would be culled: raise spread")
        piece = piece.measured(
            points=len(scan),
            lone_points=found.count(strays.LONE),
            cluster_points=found.count(strays.CLUSTER),
            veil_points=found.count(strays.VEIL),
            culled_percent=100 * float(1 - good.mean()),
            spacing_mm=found.spacing,
        )
        if good.mean() < 0.8:
            piece = piece.noted(f"{100 * (1 - good.mean()):.0f} % of the points were strays: look at the scan again.")
        return piece.but(scan=scan.kept(good) if self.mode == "remove" else scan.with_column("stray", found.kind))

    def _of_mesh(self, piece: Workpiece, scan: Mesh) -> Workpiece:
        from ...geometry.cleaning.strays import CLUSTER, GOOD
        from ...geometry.mending.islands import loose_triangles

        loose = loose_triangles(scan, self.island / 100)
        piece = piece.measured(triangles=len(scan.triangles), cluster_triangles=int(loose.sum()))
        if loose.any():
            piece = _told(piece, scan.kept(loose), "taken out" if self.mode == "remove" else "marked")
        if self.mode == "remove":
            return piece.but(scan=scan.kept(~loose))
        mark = np.where(scan.vertices_of(loose), CLUSTER, GOOD).astype(np.uint8)
        return piece.but(scan=scan.with_column("stray", mark))


def _told(piece: Workpiece, strays: Mesh, done: str) -> Workpiece:
    """The workpiece with a note on the largest stray piece, where it is so large that it may be of the head."""
    from ...geometry.measures import components

    label = components(strays)
    corners = strays.corners[label == np.bincount(label).argmax()].reshape(-1, 3)
    across = float(np.ptp(corners, axis=0).max())
    if across < _WORTH_TELLING * piece.scale:
        return piece
    x, y, z = corners.mean(axis=0)
    return piece.noted(
        f"A loose piece {across:.0f} mm across at ({x:.0f}, {y:.0f}, {z:.0f}) was {done} as stray: lower island "
        "to keep it if it is of the head, as spectacles or an ear are."
    )


_WORTH_TELLING = 15.0
"""Millimetres across, at life size, from which a loose piece may be of the head: an ear's lobe; a judgement of ours."""
