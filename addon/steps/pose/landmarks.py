"""The step that proposes the landmarks, or takes them from a file or from hand."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ...anatomy.face.landmark_files import Placed, landmarks_text, read_landmarks
from ...anatomy.face.landmarks import NAMES, known
from ...files.writing import whole_file
from ...geometry.errors import BadSetting
from ...geometry.progress import SILENT, Progress
from ...geometry.transforms import applied
from ..kinds import SURFACE, kinds
from ..step import Step, setting
from ..workpiece import Landmark, Workpiece
from .surface import needed_surface

_HUMAN = (0.65, 1.5)
"""Sizes of a face over a mean adult's between which it can be somebody's own: a child of three has three quarters of
an adult's face (Farkas, from memory); giants and newborns are left out."""


@dataclass(frozen=True)
class Landmarks(Step):
    """Propose the landmarks of the face, each with its confidence.

    Those placed by hand or read from a file stand; the rest is proposed. Coordinates of `file` and `at` are those of
    the capture as it was read, in its own unit. Weak ones (confidence under 0.5) are kept to be looked at and moved;
    no later step relies on them.
    """

    NAME = "landmarks"
    STAGE = "pose"
    NEEDS = ("surface",)
    READS = SURFACE
    CHANGES = kinds("landmarks")

    propose: bool = setting(True, help="Look for the landmarks that are not placed yet")
    file: str = setting(
        "", kind="path", help="Landmarks to take as placed, .json or .csv, in the capture's coordinates"
    )
    at: str = setting("", help="Landmarks placed by hand, in the capture's coordinates: pronasale=x,y,z; sellion=x,y,z")
    save: str = setting("", help="File to write them to, .json or .csv, in the capture's coordinates")
    keep: bool = setting(True, help="Keep landmarks placed earlier; otherwise all are looked for anew")

    def apply(self, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
        """The workpiece with landmarks."""
        placed = {name: mark for name, mark in piece.landmarks.items() if self.keep and mark.source != "proposed"}
        if self.file:
            placed |= _through(piece, read_landmarks(self.file), "file")
        if self.at:
            placed |= _through(piece, hand_placed(self.at), "placed")
        marked = self._proposed(piece, placed, progress) if self.propose else piece
        if marked.frame is not piece.frame:  # the whole was brought to size: what was placed goes with it
            placed = dict(piece.but(landmarks=placed).moved(marked.frame @ np.linalg.inv(piece.frame)).landmarks)
        marks = {**marked.landmarks, **placed} if self.propose else placed
        marks = {name: marks[name] for name in NAMES if name in marks}
        weak = [name for name, mark in marks.items() if not mark.sure]
        missing = [name for name in NAMES if name not in marks]
        if weak:
            marked = marked.noted(f"Weak landmarks, to be looked at: {', '.join(weak)}")
        if missing:
            marked = marked.noted(f"Landmarks not found: {', '.join(missing)}")
        if self.save:
            _write(self.save, marked.frame, marks)
        return marked.but(landmarks=marks).measured(
            sure=len(marks) - len(weak), weak=len(weak), missing=len(missing), placed=len(placed)
        )

    def _proposed(self, piece: Workpiece, placed: dict[str, Landmark], progress: Progress) -> Workpiece:
        from ...anatomy.face.proposals import propose_landmarks

        if all(name in placed for name in NAMES):
            return piece
        life = np.diag([*[1.0 / piece.scale] * 3, 1.0])
        proposals = propose_landmarks(needed_surface(piece).moved(life), progress)
        marks = {
            name: Landmark(_point(place * piece.scale), round(confidence, 3), "proposed")
            for name, (place, confidence) in proposals.marks.items()
        }
        found = piece.but(landmarks=marks)
        straight = proposals.face
        if straight is None:
            return found.noted("No face was recognised: check the unit of the capture, or place the landmarks by hand")
        found = _of_human_size(found, straight.face.size / straight.enlarged)
        return found.measured(
            face_likeness=straight.face.likeness,
            best_other_place=straight.face.rival,
            asymmetry_mm=straight.asymmetry / straight.enlarged,
        )


def _of_human_size(piece: Workpiece, size: float) -> Workpiece:
    """The workpiece brought to an adult's size where its unit was only proposed and cannot be right for the face.

    Parameters
    ----------
    size : of the face over a mean adult's, as the workpiece stands
    """
    if _HUMAN[0] < size < _HUMAN[1]:
        return piece
    told = f"The face is {size:.2f} times an adult's"
    if not any(done.name == "load" and done.settings["units"] == "auto" for done in piece.history):
        return piece.noted(f"{told}: check the unit")
    factor = 1.0 / size
    return (
        piece.moved(np.diag([factor, factor, factor, 1.0]))
        .but(units_in=f"none (1 = {factor * _millimetres(piece):.4g} mm)")
        .noted(
            f"{told} in the unit that was proposed, so all of it was brought to an adult's size: "
            "give the unit in load if that is wrong"
        )
        .measured(brought_to_size_by=factor)
    )


def _millimetres(piece: Workpiece) -> float:
    """What one of the capture's own numbers comes to in the workpiece, mm."""
    return float(np.cbrt(abs(np.linalg.det(piece.frame[:3, :3]))))


def hand_placed(text: str) -> dict[str, Placed]:
    """Landmarks written as "name=x,y,z; name=x,y,z", each with full confidence.

    Raises
    ------
    BadSetting
        An unknown name, or something that is not three numbers; the entry is quoted.
    """
    marks: dict[str, Placed] = {}
    for entry in filter(None, (each.strip() for each in text.split(";"))):
        name, equals, place = entry.partition("=")
        try:
            x, y, z = (float(number) for number in place.split(","))
        except ValueError:
            raise BadSetting(f"landmarks: {entry!r} is not name=x,y,z") from None
        if not equals or not np.isfinite([x, y, z]).all():
            raise BadSetting(f"landmarks: {entry!r} is not name=x,y,z")
        marks[known(name.strip())] = (x, y, z, 1.0)
    return marks


def _write(path: str, frame: NDArray[np.float64], marks: dict[str, Landmark]) -> None:
    """Write the landmarks as `file` reads them; a file of that name is replaced, whole or not at all."""
    back = np.linalg.inv(frame)
    rows = {name: (*_point(applied(back, np.asarray(mark.position))), mark.confidence) for name, mark in marks.items()}
    text = landmarks_text(rows, Path(path).suffix)
    with whole_file(Path(path), overwrite=True) as file:
        file.write(text.encode())


def _through(piece: Workpiece, marks: dict[str, Placed], source: str) -> dict[str, Landmark]:
    """Landmarks of the capture's own coordinates in those of the workpiece."""
    return {
        name: Landmark(_point(applied(piece.frame, np.array([x, y, z]))), sure, source)
        for name, (x, y, z, sure) in marks.items()
    }


def _point(place: NDArray[np.float64]) -> tuple[float, float, float]:
    x, y, z = place.tolist()
    return x, y, z
