"""Points marked in several passes of a scan, as small open files, JSON and CSV."""

import csv
import math
from pathlib import Path
from typing import Any

from ..geometry.errors import BadFile
from ..geometry.plain_text import json_of, text_of

MarkedPoints = dict[int, dict[str, tuple[float, float, float]]]
"""Pass, counted from 1, to the points marked in it: name to (x, y, z)."""


def read_marked_points(path: str | Path) -> MarkedPoints:
    """The points of a .json or .csv file, in the unit and frame of the captures.

    A point seen in several passes has the same name in each. CSV has a header line `point,pass,x,y,z`, passes counted
    from 1; JSON holds `{"points": {"nose": {"1": [x, y, z], "2": [x, y, z]}}}`, or the inner object alone.

    Raises
    ------
    BadFile
        Not readable, a pass or coordinate that is no number, a point given twice in one pass; with the line or name.
    """
    file = Path(path)
    text = text_of(file, "marked points come as JSON or CSV")
    readers = {".json": _rows_of_json, ".csv": _rows_of_csv}
    if file.suffix.lower() not in readers:
        raise BadFile(f"{file}: marked points come as .json or .csv, not {file.suffix or 'without an ending'}")
    marked: MarkedPoints = {}
    for where, name, number, place in readers[file.suffix.lower()](file, text):
        own = marked.setdefault(_pass(file, where, number), {})
        if not name or name in own:
            raise BadFile(f"{file}: {where}: " + (f"{name} is given twice in pass {number}" if name else "no name"))
        own[name] = _place(file, where, place)
    if not marked:
        raise BadFile(f"{file}: holds no points: give at least three that are seen in two passes")
    return marked


_Row = tuple[str, str, Any, Any]
"""Where it stands, the point's name, its pass and its place, the last two as they were written."""


def _rows_of_csv(file: Path, text: str) -> list[_Row]:
    table = csv.DictReader(text.splitlines())
    missing = [name for name in ("point", "pass", "x", "y", "z") if name not in (table.fieldnames or ())]
    if missing:
        raise BadFile(f"{file}: line 1: no column {', '.join(missing)}; point,pass,x,y,z are needed")
    return [
        (f"line {table.line_num}", (row["point"] or "").strip(), row["pass"], [row["x"], row["y"], row["z"]])
        for row in table
    ]


def _rows_of_json(file: Path, text: str) -> list[_Row]:
    whole = json_of(file, text)
    points = whole.get("points", whole) if isinstance(whole, dict) else None
    if not isinstance(points, dict):
        raise BadFile(f"{file}: an object of points by their names is expected")
    rows: list[_Row] = []
    for name, places in points.items():
        if not isinstance(places, dict):
            raise BadFile(f"{file}: {name}: an object of places by their passes is expected")
        rows += [(name, name.strip(), number, place) for number, place in places.items()]
    return rows


def _pass(file: Path, where: str, written: Any) -> int:
    try:
        number = int(written)
    except (TypeError, ValueError):
        number = 0
    if number < 1:
        raise BadFile(f"{file}: {where}: {written!r} is no pass: they are counted from 1")
    return number


def _place(file: Path, where: str, written: Any) -> tuple[float, float, float]:
    try:
        x, y, z = (float(value) for value in written if isinstance(written, list))
    except (TypeError, ValueError):
        raise BadFile(f"{file}: {where}: {written!r} are not three numbers") from None
    if not all(map(math.isfinite, (x, y, z))):
        raise BadFile(f"{file}: {where}: {written!r} are not three finite numbers")
    return x, y, z
