"""How each part is best stood on the plate, and why."""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...anatomy.face.face_side import face_of
from ...geometry.mesh import Mesh
from ...geometry.printing.standing import Stand, stands
from ..workpiece import Workpiece
from .printers import Printer

WORTH_TURNING = 0.8
"""Share of the burden as it stands that another stand must get below: a part is not turned for nothing."""


_AT_CUT = 0.05  # mm within which a face lies in a cut


def suggested_stands(piece: Workpiece, up: NDArray[np.float64], printer: Printer) -> list[dict[str, Any]]:
    """A row a part: which way up it is best printed, and what that spares.

    Returns
    -------
    Rows of `part`, `stand` (in words), `up` (x, y, z in the part's own frame), and, as the part would stand then and
    as it stands with `up` upwards, `suction_mm2`, `islands`, `face_scars_mm2` (on the face, and on what mates with
    another part or the body), `other_scars_mm2`, `height_mm`.
    """
    marks = {name: np.asarray(mark.position) for name, mark in piece.landmarks.items() if mark.sure}
    rows = []
    for name, mesh in piece.all_parts().items():
        joints = joints_of(piece, name, mesh)
        spared = joints | face_of(mesh, marks) if name == "head" else joints
        now, best = stands(mesh, up, spared, _looks_out(mesh) | joints, printer.plate)
        rows.append(_row(name, now, best if best.burden < WORTH_TURNING * now.burden else now))
    return rows


def joints_of(piece: Workpiece, name: str, mesh: Mesh) -> NDArray[np.bool_]:
    """(m,) triangles of a part that others go against: a stump of a support there and it no longer fits.

    The rim of a flat parting as high as its spigot, and all of the head from the neck's cut downwards.
    """
    middles = mesh.corners.mean(axis=1)
    found: NDArray[np.bool_] = np.zeros(len(middles), bool)
    for done in piece.history:
        figures = done.figures
        if "cut_at_mm" not in figures:
            continue
        heights = (middles - np.asarray(figures["cut_at_mm"])) @ np.asarray(figures["cut_up"])
        if done.name == "neck" and name == "head":
            found |= heights < _AT_CUT
        if done.name == "key" and "spigot_mm" in figures and name in ("head", figures.get("part")):
            found |= (heights > -_AT_CUT) & (heights < float(figures["spigot_mm"]) + _AT_CUT)
    return found


def advice(row: dict[str, Any]) -> str:
    """A sentence on a part that is better turned, with the reason; empty for one that is not."""
    if row["up"] == row["up_now"]:
        return ""
    x, y, z = (f"{round(each, 2) + 0.0:.2f}" for each in row["up"])  # no minus before a nought
    what = (
        ("suction_mm2", "mm² of suction"),
        ("islands", "islands"),
        ("face_scars_mm2", "mm² of supports on face and joints"),
    )
    spared = [
        f"{row[key]:.0f} {words} instead of {row[key + '_now']:.0f}"
        for key, words in (*what, ("other_scars_mm2", "mm² of supports elsewhere"))
        if row[key] + 0.5 < row[key + "_now"]
    ] or [f"{row['height_mm']:.0f} mm high instead of {row['height_mm_now']:.0f}"]
    return f"Print {row['part']} {row['stand']} (up {x},{y},{z}): {', '.join(spared)}"


def in_words(up: tuple[float, float, float]) -> str:
    """A stand of a posed part (front towards -y, top towards +z), from what is up on the plate then."""
    pitch = math.degrees(math.atan2(-up[1], up[2]))  # 0 upright, 90 lying on its back
    roll = float(np.degrees(np.arcsin(np.clip(up[0], -1, 1))))
    if abs(roll) > 75:
        return f"on the sitter's {'right' if roll > 0 else 'left'} side"
    lean = abs(pitch)
    if lean < 3:
        words = "upright"
    elif lean <= 75:
        words = f"tilted {'back' if pitch > 0 else 'forward'} {lean:.0f}°"
    elif lean < 105:
        words = f"on its {'back' if pitch > 0 else 'front'}"
    else:
        words = "upside down"
        words += f", its front turned {'up' if pitch > 0 else 'down'} {180 - lean:.0f}°" if lean < 177 else ""
    if abs(roll) >= 3:
        words += f", leaning {abs(roll):.0f}° to the sitter's {'right' if roll > 0 else 'left'}"
    return words


def _looks_out(mesh: Mesh) -> NDArray[np.bool_]:
    """(m,) triangles that look away from the part's middle: no support stands on the walls of a hollow."""
    corners = mesh.corners
    middle = (mesh.vertices.min(axis=0) + mesh.vertices.max(axis=0)) / 2
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    outwards: NDArray[np.bool_] = np.einsum("ij,ij->i", corners[:, 0] - middle, normals) > 0
    return outwards


def _row(name: str, now: Stand, then: Stand) -> dict[str, Any]:
    def figures(stand: Stand, end: str) -> dict[str, Any]:
        return {
            f"up{end}": list(stand.up),
            f"suction_mm2{end}": round(stand.suction, 2),
            f"islands{end}": stand.islands,
            f"face_scars_mm2{end}": round(stand.face_scars, 2),
            f"other_scars_mm2{end}": round(stand.other_scars, 2),
            f"height_mm{end}": round(stand.height, 2),
        }

    return {"part": name, "stand": in_words(then.up), **figures(then, ""), **figures(now, "_now")}
