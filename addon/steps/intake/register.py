"""The step that brings several passes into one frame."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ...geometry.cloud import Cloud
from ...geometry.errors import NotPossible
from ...geometry.progress import SILENT, Progress
from ...geometry.transforms import applied
from ..clean.cloud_target import cloud_of
from ..step import Step, setting
from ..workpiece import Workpiece


@dataclass(frozen=True)
class Register(Step):
    """Bring the passes of a scan together, and name the one that does not fit."""

    NAME = "register"
    STAGE = "intake"

    search: bool = setting(True, help="Also try turned starts for a pass that does not meet the rest as it lies")
    least_overlap: float = setting(
        25.0, low=0.0, high=100.0, unit="%", help="Share of a pass that must meet the rest for it to fit"
    )

    def apply(self, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
        """The workpiece with its passes in the frame of the first; `view` says which pass a point is of."""
        from ...geometry.registration import registered

        cloud = cloud_of(piece, self.NAME)
        view = np.asarray(cloud.columns.get("view", np.zeros(len(cloud))), dtype=np.int64)
        names = np.unique(view)
        if not 2 <= len(names) <= 20:
            raise NotPossible(f"register takes 2 to 20 passes and the scan holds {len(names)}: give each as a file")
        rows = [np.flatnonzero(view == name) for name in names]
        fits = registered([cloud.points[mine] for mine in rows], self.search, progress)
        piece = piece.measured(
            passes=len(names),
            overlap_percent=[100 * fit.overlap for fit in fits],
            rms_mm=[fit.rms for fit in fits],
            moved_mm=[
                float(np.linalg.norm(applied(fit.matrix, cloud.points[mine]) - cloud.points[mine], axis=1).mean())
                for mine, fit in zip(rows, fits, strict=True)
            ],
        )
        for name, fit in zip(names.tolist(), fits, strict=True):
            if 100 * fit.overlap < self.least_overlap:
                piece = piece.noted(
                    f"Pass {name + 1} meets the rest by {100 * fit.overlap:.0f} % only: it may not fit."
                )
        return piece.but(scan=_together(cloud, rows, [fit.matrix for fit in fits]))


def _together(cloud: Cloud, rows: list[NDArray[np.int64]], moves: list[NDArray[np.float64]]) -> Cloud:
    """The cloud with each pass moved, normals and sensors along with it."""
    points = cloud.points.copy()
    normals = None if cloud.normals is None else cloud.normals.copy()
    sensors = None if cloud.sensors is None else cloud.sensors.copy()
    for mine, move in zip(rows, moves, strict=True):
        points[mine] = applied(move, points[mine])
        if normals is not None:
            normals[mine] = normals[mine] @ move[:3, :3].T
        if sensors is not None:
            own = int(cloud.columns["view"][mine[0]])
            sensors[own] = applied(move, sensors[own])
    return replace(cloud, points=points, normals=normals, sensors=sensors)
