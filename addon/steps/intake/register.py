"""The step that brings several passes into one frame."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ...files.marked_points import read_marked_points
from ...geometry.cloud import Cloud
from ...geometry.errors import BadFile, NotPossible
from ...geometry.progress import SILENT, Progress
from ...geometry.transforms import applied
from ..clean.cloud_target import cloud_of
from ..kinds import SCAN
from ..step import Step, setting
from ..workpiece import Workpiece


@dataclass(frozen=True)
class Register(Step):
    """Bring the passes of a scan together, and name the one that does not fit.

    Each pass is placed by its form, or by points that were marked in it and in others: three or more, not on one line.
    A few millimetres are near enough, for the skins are then laid on each other.
    """

    NAME = "register"
    STAGE = "intake"
    NEEDS = ("scan",)
    READS = SCAN
    CHANGES = SCAN

    search: bool = setting(True, help="Also try turned starts for a pass that does not meet the rest as it lies")
    least_overlap: float = setting(
        25.0, low=0.0, high=100.0, unit="%", help="Share of a pass that must meet the rest for it to fit"
    )
    points: str = setting(
        "", kind="path", help="Points marked in the passes to place them by: .csv of point,pass,x,y,z, or .json"
    )

    def apply(self, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
        """The workpiece with its passes in the frame of the first; `view` says which pass a point is of."""
        from ...geometry.clouds.marked_placing import marks_apart, placed_by_marks
        from ...geometry.clouds.registration import registered

        cloud = cloud_of(piece, self.NAME)
        view = np.asarray(cloud.columns.get("view", np.zeros(len(cloud))), dtype=np.int64)
        names = np.unique(view)
        if len(names) < 2:
            raise NotPossible("register takes 2 to 10 passes and the scan holds one: give each pass as a file")
        if len(names) > _MOST:
            raise NotPossible(
                f"register takes 2 to {_MOST} passes and the scan holds {len(names)}: register ten of them, save the "
                "result, and register that with the others; passes that lie together already need no register"
            )
        rows = [np.flatnonzero(view == name) for name in names]
        marks = self._marks(piece, names) if self.points else None
        starts = None if marks is None else placed_by_marks(marks)
        fits = registered([cloud.points[mine] for mine in rows], self.search, progress, starts)
        moves = [fit.matrix for fit in fits]
        piece = piece.measured(
            passes=len(names),
            overlap_percent=[100 * fit.overlap for fit in fits],
            rms_mm=[fit.rms for fit in fits],
            moved_mm=[
                float(np.linalg.norm(applied(move, cloud.points[mine]) - cloud.points[mine], axis=1).mean())
                for mine, move in zip(rows, moves, strict=True)
            ],
        )
        if marks is not None and starts is not None:
            belonging = [number for number, fit in enumerate(fits) if fit.belongs]
            piece = piece.measured(points_apart_mm=marks_apart(marks, moves, belonging))
            for name, start in zip(names.tolist(), starts, strict=True):
                if start is None:
                    piece = piece.noted(f"No point is marked in pass {name + 1}: it was placed by its form.")
        for name, fit in zip(names.tolist(), fits, strict=True):
            if not fit.belongs:
                piece = piece.noted(
                    f"Pass {name + 1} does not fit: it lies {fit.rms:.2g} mm (RMS) off the others, which meet far "
                    "better among themselves. Mark points in it, leave it out, or take it again."
                )
            elif 100 * fit.overlap < self.least_overlap:
                piece = piece.noted(
                    f"Pass {name + 1} meets the rest by {100 * fit.overlap:.0f} % only: it may not fit."
                )
        return piece.but(scan=_together(cloud, rows, moves))

    def _marks(self, piece: Workpiece, names: NDArray[np.int64]) -> list[dict[str, NDArray[np.float64]]]:
        """The points marked in each pass, in the workpiece's frame. Raises `BadFile`, `NotPossible`."""
        if any(done.name == self.NAME for done in piece.history):
            raise NotPossible(
                "register: the points are those of the passes as captured, and these were moved already: "
                "start from the captures, or leave points out"
            )
        given = read_marked_points(self.points)
        known = [name + 1 for name in names.tolist()]
        strange = sorted(set(given) - set(known))
        if strange:
            raise BadFile(f"{self.points}: there is no pass {strange[0]}: the scan holds {', '.join(map(str, known))}")
        return [
            {name: applied(piece.frame, np.array(place)) for name, place in given.get(number, {}).items()}
            for number in known
        ]


_MOST = 10


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
