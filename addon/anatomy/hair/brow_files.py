"""Brows drawn by hand, as small open files: for each brow its upper and its lower edge, from the nose outwards."""

import csv
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...geometry.errors import BadFile
from ...geometry.plain_text import json_of, text_of

Edges = dict[str, tuple[NDArray[np.float64], NDArray[np.float64]]]
"""Side to the (n, 3) points of the brow's upper and of its lower edge."""

_COLUMNS = ("side", "edge", "x", "y", "z")
_EDGES = ("upper", "lower")
_FEWEST = 3


def read_brows(path: str | Path) -> Edges:
    """The brows of a .json or .csv file, in the unit it was written in.

    CSV has a header line `side,edge,x,y,z`, then a line a point: side left or right, edge upper or lower, from the
    brow's head by the nose to its tail. JSON holds `{"left": {"upper": [[x, y, z], ...], "lower": [...]}}`. A brow that
    is drawn needs both its edges, at least three points each; one brow alone will do.

    Raises
    ------
    BadFile
        Not readable, a column or an edge missing, a word or value that is none of these; with the place at fault.
    """
    file = Path(path)
    text = text_of(file, "brows come as JSON or CSV")
    if file.suffix.lower() not in (".json", ".csv"):
        raise BadFile(f"{file}: brows come as .json or .csv, not {file.suffix or 'without an ending'}")
    found = _from_json(file, text) if file.suffix.lower() == ".json" else _from_csv(file, text)
    if not found:
        raise BadFile(f"{file}: holds no brow: left or right is expected")
    for side, edges in found.items():
        for edge in _EDGES:
            count = len(edges.get(edge, ()))
            if count < _FEWEST:
                raise BadFile(f"{file}: the {side} brow's {edge} edge has {count} points: give at least {_FEWEST}")
    return {side: (np.array(edges["upper"]), np.array(edges["lower"])) for side, edges in found.items()}


def brows_text(brows: Mapping[str, tuple[NDArray[np.float64], NDArray[np.float64]]], ending: str) -> str:
    """The brows as the text of a ".json" or ".csv" file that `read_brows` reads back."""
    if ending.lower() == ".csv":
        lines = [",".join(_COLUMNS)]
        for side, edges in brows.items():
            for name, points in zip(_EDGES, edges, strict=True):
                lines += [f"{side},{name},{x:.9g},{y:.9g},{z:.9g}" for x, y, z in points.tolist()]
        return "\n".join(lines) + "\n"
    if ending.lower() == ".json":
        rows = {
            side: {name: [[float(f"{x:.9g}") for x in point] for point in points.tolist()] for name, points in
                   zip(_EDGES, edges, strict=True)}
            for side, edges in brows.items()
        }  # fmt: skip
        return json.dumps(rows, indent=1) + "\n"
    raise BadFile(f"brows are written as .json or .csv, not {ending or 'without an ending'}")


def _from_csv(file: Path, text: str) -> dict[str, dict[str, list[list[float]]]]:
    lines = csv.DictReader(text.splitlines())
    missing = [name for name in _COLUMNS if name not in (lines.fieldnames or ())]
    if missing:
        raise BadFile(f"{file}: line 1: no column {', '.join(missing)}; {','.join(_COLUMNS)} are needed")
    found: dict[str, dict[str, list[list[float]]]] = {}
    for number, row in enumerate(lines, start=2):
        side, edge = _words(file, f"line {number}", (row["side"] or "").strip(), (row["edge"] or "").strip())
        place = _place(file, f"line {number}", [row["x"], row["y"], row["z"]])
        found.setdefault(side, {}).setdefault(edge, []).append(place)
    return found


def _from_json(file: Path, text: str) -> dict[str, dict[str, list[list[float]]]]:
    whole = json_of(file, text)
    found: dict[str, dict[str, list[list[float]]]] = {}
    for side, edges in (whole if isinstance(whole, dict) else {}).items():
        if not isinstance(edges, dict):
            raise BadFile(f"{file}: {side}: an object with upper and lower is expected")
        for edge, points in edges.items():
            _words(file, f"{side}.{edge}", side, edge)
            if not isinstance(points, list):
                raise BadFile(f"{file}: {side}.{edge}: a list of points is expected")
            rows = [_place(file, f"{side}.{edge}, point {row}", point) for row, point in enumerate(points, start=1)]
            found.setdefault(side, {})[edge] = rows
    return found


def _words(file: Path, where: str, side: str, edge: str) -> tuple[str, str]:
    if side not in ("left", "right") or edge not in _EDGES:
        raise BadFile(f"{file}: {where}: {side!r}, {edge!r}: left or right, and upper or lower, are expected")
    return side, edge


def _place(file: Path, where: str, values: Any) -> list[float]:
    try:
        place = [float(value) for value in values]
    except (TypeError, ValueError):
        place = []
    if len(place) != 3 or not np.isfinite(place).all():
        raise BadFile(f"{file}: {where}: x, y and z must be three numbers")
    return place
