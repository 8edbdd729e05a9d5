"""What place-eyes takes from photographs: the marks read, cameras and centres solved, figures for the report."""

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from ...anatomy.face.landmarks import NAMES
from ...files.photo_marks import PhotoMarks, read_photo_marks
from ...geometry.errors import NotPossible
from ..workpiece import Landmark, Workpiece
from .one_eye import corners_seen, fissure_of, triple, twin_of

if TYPE_CHECKING:
    from ...anatomy.eyes.globe_fit import Estimate
    from ...anatomy.photographs.pupil_placing import PhotoEyes


def photographed(piece: Workpiece, marks: str, radius: float) -> "PhotoEyes":
    """The eyes as the photographs of a marks file show them, at life size in the posed frame.

    Parameters
    ----------
    piece : with its landmarks
    marks : path of the file: see `files/photo_marks.py`
    radius : of the globes, mm at life size

    Raises
    ------
    BadFile
        The file cannot be read.
    NotPossible
        The head has none of the landmarks that are marked.
    """
    return solved(piece, read_photo_marks(marks, NAMES), radius, marks)


def solved(piece: Workpiece, photographs: list[PhotoMarks], radius: float, where: str) -> "PhotoEyes":
    """The same for photographs at hand; `where` names their origin in what is said of them."""
    from ...anatomy.eyes.globe_fit import from_landmarks
    from ...anatomy.photographs.pupil_placing import eyes_from_photographs

    if not any(name in piece.landmarks for each in photographs for name in each.marks):
        raise NotPossible(
            f"{where}: this head has none of the landmarks marked in the photographs: run landmarks, or place them by "
            "hand"
        )
    landmarks = {
        name: (np.array(mark.position) / piece.scale, mark.confidence) for name, mark in piece.landmarks.items()
    }
    starts: dict[str, NDArray[np.float64]] = {}
    for side in ("left", "right"):
        if corners_seen(piece, side) or corners_seen(piece, twin_of(side)):
            starts[side] = from_landmarks(fissure_of(piece, side, None, radius), radius).centre
    return eyes_from_photographs(photographs, landmarks, starts, radius)


def corrected(piece: Workpiece, found: "PhotoEyes") -> Workpiece:
    """The workpiece with landmarks that were only proposed where photographs see them, if that is elsewhere.

    Two photographs or more have to agree. What was placed by hand stays: the notes say how far off it is.
    """
    marks = dict(piece.landmarks)
    for name, place in found.landmarks.items():
        if marks[name].source == "proposed":
            marks[name] = Landmark(triple(place * piece.scale), _SEEN_TRUST, "photographs")
            piece = piece.noted(f"{name} was moved to where the photographs see it")
        else:
            piece = piece.noted(f"{name} stays where it was placed: move it, or mark the photographs anew")
    return piece.but(landmarks=marks)


_SEEN_TRUST = 0.8
"""Confidence of a landmark that photographs place: they are marked by hand, but not on the surface."""


def told(piece: Workpiece, found: "PhotoEyes", marks: str) -> Workpiece:
    """The workpiece with the photographs' figures and notes."""
    figures: dict[str, Any] = {
        "photographs": [_row(piece, each) for each in found.photographs],
        "photograph_marks": [row for each in found.photographs for row in _marks(each)],
    }
    for side, estimate in found.estimates.items():
        figures[f"{side}_photographs_uncertainty_mm_life"] = estimate.uncertainty
        figures[f"{side}_pupil_rms_px"] = _pupil_rms(found, f"{side}-pupil")
    if len(found.estimates) == 2:
        apart = found.estimates["left"].centre - found.estimates["right"].centre
        figures["pupils_apart_by_photographs_mm_life"] = float(np.linalg.norm(apart))
    piece = piece.measured(**figures)
    for note in found.notes:
        piece = piece.noted(note)
    if not found.photographs:
        return piece.noted(f"no photograph of {Path(marks).name} could be used")
    lacking = [side for side in ("left", "right") if side not in found.estimates]
    if lacking:
        piece = piece.noted(f"no photograph shows the pupil of the {' and the '.join(lacking)} eye")
    return piece


def compared(piece: Workpiece, estimates: "Mapping[str, Estimate]") -> Workpiece:
    """How far each eye was placed from where the photographs show it, with a note where the two are at odds."""
    from ...anatomy.lids.globe_placing import AT_ODDS

    for eye in piece.eyes:
        shown = estimates.get(eye.side)
        if shown is None:
            continue
        away = np.array(eye.centre) / piece.scale - shown.centre
        off = float(np.linalg.norm(away))
        piece = piece.measured(**{f"{eye.side}_off_photographs_mm_life": off})
        if away @ np.linalg.solve(shown.covariance, away) > AT_ODDS**2:
            piece = piece.noted(
                f"the photographs show the {eye.side} eye {off:.1f} mm from where the other sources do: check its "
                "marks, and the gaze their file gives"
            )
    return piece


def _pupil_rms(found: "PhotoEyes", pupil: str) -> float:
    """Root mean square of the distances from a pupil's marks to where its one place is seen, pixels."""
    misses = [
        np.subtract(each.seen[pupil], each.photograph.marks[pupil]) for each in found.photographs if pupil in each.seen
    ]
    return float(np.sqrt(np.square(misses).sum(axis=1).mean()))


def _row(piece: Workpiece, each: Any) -> dict[str, Any]:
    """A photograph in plain figures."""
    middle = np.mean([mark.position for mark in piece.landmarks.values()], axis=0) / piece.scale
    width, height = each.photograph.size
    return {
        "photograph": each.photograph.file,
        "width_px": width,
        "height_px": height,
        "marks": len(each.seen),
        "left_out": ", ".join(each.wrong),
        "reprojection_rms_px": each.rms,
        "focal_px": each.camera.focal,
        "focal_uncertainty_px": each.focal_error,
        "distance_mm_life": float(np.linalg.norm(each.camera.place - middle)),
    }


def _marks(each: Any) -> list[dict[str, Any]]:
    """What was marked in a photograph and where the solution sees it; a mark left out is seen nowhere."""
    rows = []
    for name, (x, y) in each.photograph.marks.items():
        seen = each.seen.get(name)
        rows.append(
            {
                "photograph": each.photograph.file,
                "mark": name,
                "x_px": x,
                "y_px": y,
                "seen_x_px": None if seen is None else seen[0],
                "seen_y_px": None if seen is None else seen[1],
            }
        )
    return rows
