"""Landmarks as small open files, JSON and CSV, under their standard names."""

import csv
import json
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from ...geometry.errors import BadFile, BadSetting
from ...geometry.plain_text import json_of, text_of
from .landmarks import known

Placed = tuple[float, float, float, float]
"""x, y, z and the confidence from 0 to 1."""


def read_landmarks(path: str | Path) -> dict[str, Placed]:
    """The landmarks of a .json or .csv file: name to (x, y, z, confidence), in the unit the file was written in.

    JSON holds `{"landmarks": {"pronasale": {"mm": [x, y, z], "confidence": 1.0}}}`, or the inner object alone, or a
    bare `[x, y, z]` for each name. CSV has a header line `name,x,y,z` and may have `confidence`.

    Raises
    ------
    BadFile
        Not readable, an unknown name, a value that is no number; with the name or line at fault.
    """
    file = Path(path)
    text = text_of(file, "landmarks come as JSON or CSV")
    if file.suffix.lower() == ".json":
        return _from_json(file, text)
    if file.suffix.lower() == ".csv":
        return _from_csv(file, text)
    raise BadFile(f"{file}: landmarks come as .json or .csv, not {file.suffix or 'without an ending'}")


def landmarks_text(marks: Mapping[str, Placed], ending: str) -> str:
    """The landmarks as the text of a ".json" or ".csv" file that `read_landmarks` reads back."""
    if ending.lower() == ".csv":
        lines = ["name,x,y,z,confidence"]
        lines += [f"{name},{x:.9g},{y:.9g},{z:.9g},{sure:.3f}" for name, (x, y, z, sure) in marks.items()]
        return "\n".join(lines) + "\n"
    if ending.lower() == ".json":
        rows = {
            name: {"mm": [float(f"{each:.9g}") for each in (x, y, z)], "confidence": round(sure, 3)}
            for name, (x, y, z, sure) in marks.items()
        }
        return json.dumps({"landmarks": rows}, indent=1) + "\n"
    raise BadFile(f"landmarks are written as .json or .csv, not {ending or 'without an ending'}")


def _from_json(file: Path, text: str) -> dict[str, Placed]:
    whole = json_of(file, text)
    rows = whole.get("landmarks", whole) if isinstance(whole, dict) else None
    if not isinstance(rows, dict) or not rows:
        raise BadFile(f"{file}: holds no landmarks: an object of names is expected")
    marks = {}
    for name, row in rows.items():
        place = row if isinstance(row, list) else row.get("mm", row.get("position")) if isinstance(row, dict) else None
        sure = row.get("confidence", 1.0) if isinstance(row, dict) else 1.0
        if not isinstance(place, list) or len(place) != 3:
            raise BadFile(f"{file}: {name}: three numbers are expected under mm")
        marks[_known(file, name, name)] = _placed(file, name, [*place, sure])
    return marks


def _from_csv(file: Path, text: str) -> dict[str, Placed]:
    lines = csv.DictReader(text.splitlines())
    missing = {"name", "x", "y", "z"} - set(lines.fieldnames or ())
    if missing:
        raise BadFile(f"{file}: line 1: no column {', '.join(sorted(missing))}; name,x,y,z are needed")
    marks = {}
    for number, row in enumerate(lines, start=2):
        where = f"line {number}"
        marks[_known(file, where, row["name"])] = _placed(
            file, where, [row["x"], row["y"], row["z"], row.get("confidence") or 1.0]
        )
    if not marks:
        raise BadFile(f"{file}: holds no landmarks under its header")
    return marks


def _known(file: Path, where: str, name: str) -> str:
    try:
        return known(name.strip())
    except BadSetting as error:
        raise BadFile(f"{file}: {where}: {error}") from error


def _placed(file: Path, where: str, values: list[Any]) -> Placed:
    try:
        x, y, z, sure = (float(value) for value in values)
    except (TypeError, ValueError):
        raise BadFile(f"{file}: {where}: {values[:3]} are not three numbers") from None
    if not all(map(math.isfinite, (x, y, z, sure))) or not 0.0 <= sure <= 1.0:
        raise BadFile(f"{file}: {where}: the position must be finite and the confidence from 0 to 1")
    return x, y, z, sure
