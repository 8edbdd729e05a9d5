"""Curves drawn by hand round an eye or a brow: for left and right an upper and a lower one, out of a small table."""

import csv
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..geometry.errors import BadFile

Edges = dict[str, tuple[NDArray[np.float64], NDArray[np.float64]]]
"""Side to the (n, 3) points of its upper and of its lower curve."""

Points = dict[str, dict[str, list[list[float]]]]
"""Side to "upper" and "lower" to the points that were read so far."""

SIDES, EDGES = ("left", "right"), ("upper", "lower")


def points_of_table(file: Path, text: str, what: str) -> Points:
    """The points of a CSV table `side,WHAT,x,y,z`, `what` being the column that says upper or lower.

    Raises
    ------
    BadFile
        A column missing, a word or value that is none of these; with the line at fault.
    """
    columns = ("side", what, "x", "y", "z")
    lines = csv.DictReader(text.splitlines())
    missing = [name for name in columns if name not in (lines.fieldnames or ())]
    if missing:
        raise BadFile(f"{file}: line 1: no column {', '.join(missing)}; {','.join(columns)} are needed")
    found: Points = {}
    for number, row in enumerate(lines, start=2):
        side, edge = (row["side"] or "").strip(), (row[what] or "").strip()
        check_words(file, f"line {number}", side, edge)
        place = place_of(file, f"line {number}", [row["x"], row["y"], row["z"]])
        found.setdefault(side, {}).setdefault(edge, []).append(place)
    return found


def check_words(file: Path, where: str, side: str, edge: str) -> None:
    """Raise `BadFile` unless these say left or right, and upper or lower."""
    if side not in SIDES or edge not in EDGES:
        raise BadFile(f"{file}: {where}: {side!r}, {edge!r}: left or right, and upper or lower, are expected")


def place_of(file: Path, where: str, values: Sequence[Any]) -> list[float]:
    """Three numbers out of what a file holds; `BadFile` where they are not that."""
    try:
        place = [float(value) for value in values]
    except (TypeError, ValueError):
        place = []
    if len(place) != 3 or not np.isfinite(place).all():
        raise BadFile(f"{file}: {where}: x, y and z must be three numbers")
    return place


def whole_edges(file: Path, found: Mapping[str, Mapping[str, list[list[float]]]], name: str, fewest: int) -> Edges:
    """What was read as arrays; `name` is that of one curve, "{side} brow's {edge} edge".

    Raises
    ------
    BadFile
        Of a side of which there is anything, a curve has fewer points than `fewest`.
    """
    for side, edges in found.items():
        for edge in EDGES:
            count = len(edges.get(edge, ()))
            if count < fewest:
                raise BadFile(
                    f"{file}: the {name.format(side=side, edge=edge)} has {count} points: give at least {fewest}"
                )
    return {side: (np.array(edges["upper"]), np.array(edges["lower"])) for side, edges in found.items()}
