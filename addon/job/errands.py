"""Work that the window hands to its child process and that is no step: it makes no other head, no recipe holds it.

An errand is declared as a step is, so that its settings become properties and cross over as a step's do; it is in no
catalogue. What it found are the figures of its entry in the history, or a column.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, ClassVar

import numpy as np

from ..anatomy.eyes.dimensions import GLOBE_WIDTH
from ..anatomy.face.landmarks import NAMES
from ..files.photo_marks import read_photo_marks
from ..geometry.errors import NotPossible, NotReady
from ..geometry.progress import SILENT, Progress
from ..steps.detail.brows import Brows
from ..steps.step import Step, setting
from ..steps.workpiece import Workpiece
from .laid_on import FITS
from .recipe import step_of

DEVIATION = "deviation_mm"
"""Column that `CompareShapes` leaves its values in."""


@dataclass(frozen=True)
class CompareShapes(Step):
    """Measure how far the `scan` of a workpiece lies from its only part, at each vertex, as a column of the scan."""

    NAME: ClassVar[str] = "compare"
    STAGE: ClassVar[str] = "output"

    fit: str = setting("none", choices=FITS, help="What is laid on the other shape, as it fits best, to measure")
    reach: float = setting(
        0.0,
        low=0.0,
        high=1000.0,
        unit="mm",
        help="Where colours are full; 0: where 98 of 100 places of the skin that moved lie within",
    )
    save: str = setting(
        "", kind="path", help="File the coloured shape is written to (.ply), a picture with its legend beside it (.png)"
    )

    def apply(self, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
        """The scan with its deviations, without the shape it was judged against; the figures of `compare`."""
        from .compare import compared, write_heat  # with it come the heavy libraries

        judged, ((other, base),) = piece.scan, piece.parts.items()
        if judged is None:
            raise NotReady("there is no shape to compare: give one as the scan")
        marks = {name: np.asarray(mark.position) for name, mark in piece.landmarks.items()}
        found = compared(judged, base, marks, self.fit, (piece.name, other), progress, self.reach)
        if self.save:
            write_heat(found, Path(self.save))
        columns = {**judged.columns, DEVIATION: found.values.astype(np.float32)}
        measured = piece.but(scan=replace(judged, columns=columns), parts={})
        return measured.measured(**found.figures, colour_reach_mm=found.reach)


@dataclass(frozen=True)
class BrowEdges(Brows):
    """Find the edges that `brows` would raise its strokes along, without raising any."""

    NAME: ClassVar[str] = "brow-edges"

    def apply(self, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
        """The workpiece as it is; its figures hold side to upper and lower edge, (k, 3) mm as the head stands."""
        progress(0.0, "finding the brows")
        found = self.guides(piece)
        edges = {side: [(piece.scale * np.asarray(edge)).tolist() for edge in (guide.upper, guide.lower)]
                 for side, guide in found.items()}  # fmt: skip
        return piece.measured(edges=edges)


@dataclass(frozen=True)
class SolveCameras(Step):
    """Find where each photograph of a marks file was taken from, without placing an eye by it."""

    NAME: ClassVar[str] = "solve-cameras"
    STAGE: ClassVar[str] = "eyes"

    photographs: str = setting("", kind="path", help="The marks file")
    globe: float = setting(GLOBE_WIDTH, low=10.0, high=40.0, unit="mm", at="life", help="Diameter of the globes")

    def apply(self, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
        """The workpiece as it is, with notes; its figures hold each photograph that could be used, by its row in the
        file, and its camera at life size in the posed frame.
        """
        from ..steps.eyes.photographs import solved  # with it come the heavy libraries

        progress(0.0, "solving the cameras")
        photographs = read_photo_marks(self.photographs, NAMES)
        found = solved(piece, photographs, self.globe / 2, "the open images")
        rows = [
            next(row for row, each in enumerate(photographs) if each is seen.photograph) for seen in found.photographs
        ]
        cameras = [
            {
                "row": row,
                "turn": seen.camera.turn,
                "shift": seen.camera.shift,
                "focal": seen.camera.focal,
                "focal_error": seen.focal_error,
                "rms": seen.rms,
                "seen": dict(seen.seen),
            }
            for row, seen in zip(rows, found.photographs, strict=True)
        ]
        for note in found.notes:
            piece = piece.noted(note)
        if not cameras:
            raise NotPossible(f"no photograph fits this head: {'; '.join(found.notes)}")
        return piece.measured(cameras=cameras)


ERRANDS: tuple[type[Step], ...] = (CompareShapes, BrowEdges, SolveCameras)


def errand_or_step(entry: Mapping[str, Any]) -> Step:
    """What an entry {"step": name, setting: value, ...} asks for. Raises `BadSetting`."""
    for errand in ERRANDS:
        if entry.get("step") == errand.NAME:
            return errand.made_from({name: value for name, value in entry.items() if name != "step"})
    return step_of(entry)
