"""Brows drawn by hand, as small open files: for each brow its upper and its lower edge, from the nose outwards."""

import json
from collections.abc import Mapping
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ...geometry.errors import BadFile
from ...geometry.plain_text import json_of, text_of
from ..drawn_edges import EDGES, Edges, Points, check_words, place_of, points_of_table, whole_edges

FEWEST = 3
"""Points on each edge."""


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
    found = _from_json(file, text) if file.suffix.lower() == ".json" else points_of_table(file, text, "edge")
    if not found:
        raise BadFile(f"{file}: holds no brow: left or right is expected")
    return whole_edges(file, found, "{side} brow's {edge} edge", FEWEST)


def brows_text(brows: Mapping[str, tuple[NDArray[np.float64], NDArray[np.float64]]], ending: str) -> str:
    """The brows as the text of a ".json" or ".csv" file that `read_brows` reads back."""
    if ending.lower() == ".csv":
        lines = ["side,edge,x,y,z"]
        for side, edges in brows.items():
            for name, points in zip(EDGES, edges, strict=True):
                lines += [f"{side},{name},{x:.9g},{y:.9g},{z:.9g}" for x, y, z in points.tolist()]
        return "\n".join(lines) + "\n"
    if ending.lower() == ".json":
        rows = {
            side: {name: [[float(f"{x:.9g}") for x in point] for point in points.tolist()] for name, points in
                   zip(EDGES, edges, strict=True)}
            for side, edges in brows.items()
        }  # fmt: skip
        return json.dumps(rows, indent=1) + "\n"
    raise BadFile(f"brows are written as .json or .csv, not {ending or 'without an ending'}")


def _from_json(file: Path, text: str) -> Points:
    whole = json_of(file, text)
    found: Points = {}
    for side, edges in (whole if isinstance(whole, dict) else {}).items():
        if not isinstance(edges, dict):
            raise BadFile(f"{file}: {side}: an object with upper and lower is expected")
        for edge, points in edges.items():
            check_words(file, f"{side}.{edge}", side, edge)
            if not isinstance(points, list):
                raise BadFile(f"{file}: {side}.{edge}: a list of points is expected")
            rows = [place_of(file, f"{side}.{edge}, point {row}", point) for row, point in enumerate(points, start=1)]
            found.setdefault(side, {})[edge] = rows
    return found
