"""Every figure of a finished job, as the report.json holds it."""

import dataclasses
from collections.abc import Mapping
from typing import Any

from ..geometry.measures import is_watertight, volume
from ..geometry.mesh import Mesh
from ..steps.catalogue import all_steps, step_named
from ..steps.workpiece import Check, Done, Eye, Landmark, Workpiece
from .eye_values import eye_values
from .likeness import Likeness
from .listing import unit_text
from .memory import PeakMemory
from .plain import plain
from .versions import versions


def report(
    piece: Workpiece,
    files: Mapping[str, str],
    left_out: tuple[str, ...] = (),
    near: Likeness | None = None,
    sent: Workpiece | None = None,
) -> dict[str, Any]:
    """The figures of a job in plain values.

    Parameters
    ----------
    piece : the finished workpiece
    files : part's name to the file it was written to, as seen from the report
    left_out : sentences on what could not be made here (pictures where there is no Blender)
    near : how near the head is to its scan, where there is one
    sent : the workpiece as its files hold it, where that is another: larger by what the resin shrinks

    Returns
    -------
    `name`, `units_in`, `scale`, `shrinkage_percent`, `steps`, `parts`, `eyes`, `eye_values`, `landmarks`, `checks`,
    `likeness`, `notes`, `left_out`, `frame`, `versions`. Parts, eyes, landmarks and the places of findings are
    millimetres in the coordinates of the exported parts; what steps and findings measured, and `eye_values`, is of the
    finished print. They differ only where shrinkage is made up for. Every key carries its unit.
    """
    sent = sent or piece
    figures = {
        "name": piece.name,
        "units_in": piece.units_in,
        "scale": piece.scale,
        "shrinkage_percent": 100 * piece.shrinkage,
        "printable": printable(sent),
        "seconds": round(sum(done.seconds for done in piece.history), 3),
        "peak_mb": max((done.peak_mb for done in piece.history), default=0.0),
        "peak_means": PeakMemory().meaning,
        "steps": [_step(done) for done in piece.history],
        "parts": [_part(name, part, files.get(name, "")) for name, part in sent.all_parts().items()],
        "eyes": [_eye(eye) for eye in sent.eyes],
        "eye_values": eye_values(piece),
        "landmarks": {name: _landmark(mark) for name, mark in sent.landmarks.items()},
        "checks": [finding(check) for check in sent.checks],
        "likeness": {} if near is None else near.figures,
        "notes": piece.notes,
        "left_out": left_out,
        "frame": sent.frame,
        "versions": versions(),
    }
    kept: dict[str, Any] = plain(figures)
    return kept


def printable(piece: Workpiece) -> bool:
    """Whether no check found what should not be printed."""
    return all(check.ok or not check.grave for check in piece.checks)


def finding(check: Check) -> dict[str, Any]:
    """One finding of the check in plain values."""
    found: dict[str, Any] = plain(dataclasses.asdict(check))
    return found


def _step(done: Done) -> dict[str, Any]:
    return {**dataclasses.asdict(done), "units": setting_units(done.name)}


def setting_units(step: str) -> dict[str, str]:
    """Setting to unit ("mm at life size", "deg"), for those that have one."""
    if step not in {each.NAME for each in all_steps()}:
        return {}  # a workpiece from a later version: its units are not known here
    return {each.name: unit_text(each) for each in step_named(step).settings() if each.unit}


def _part(name: str, part: Mesh, file: str) -> dict[str, Any]:
    size = part.vertices.max(axis=0) - part.vertices.min(axis=0) if len(part.vertices) else (0.0, 0.0, 0.0)
    return {
        "name": name,
        "file": file,
        "triangles": len(part.triangles),
        "volume_mm3": volume(part),
        "watertight": is_watertight(part),
        "size_mm": size,
    }


def _eye(eye: Eye) -> dict[str, Any]:
    return {
        "side": eye.side,
        "centre_mm": eye.centre,
        "gaze": eye.gaze,
        "diameter_mm": eye.diameter,
        "clearance_mm": eye.clearance,
        "socket_radius_mm": eye.pocket_radius,
        "uncertainty_mm": eye.uncertainty,
        "sources": eye.sources,
    }


def _landmark(mark: Landmark) -> dict[str, Any]:
    return {"mm": mark.position, "confidence": mark.confidence, "source": mark.source}
