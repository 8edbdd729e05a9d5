"""Lid margins drawn by hand, as a small table."""

import csv
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ...geometry.errors import BadFile
from ...geometry.plain_text import text_of

Margins = dict[str, tuple[NDArray[np.float64], NDArray[np.float64]]]
"""Side to the (n, 3) points of its upper and its lower margin."""

_COLUMNS = ("side", "lid", "x", "y", "z")
_FEWEST = 4


def read_margins(path: str | Path) -> Margins:
    """The margins of a .csv file, in the unit it was written in.

    A header line `side,lid,x,y,z`, then a line a point: side left or right, lid upper or lower, from the inner corner
    to the outer. An eye that is drawn needs both its lids, at least four points each.

    Raises
    ------
    BadFile
        Not readable, a column or a lid missing, a word or value that is none of these; with the line at fault.
    """
    file = Path(path)
    text = text_of(file, "lid margins come as CSV")
    lines = csv.DictReader(text.splitlines())
    missing = set(_COLUMNS) - set(lines.fieldnames or ())
    if missing:
        raise BadFile(f"{file}: line 1: no column {', '.join(sorted(missing))}; {','.join(_COLUMNS)} are needed")
    found: dict[str, dict[str, list[list[float]]]] = {}
    for number, row in enumerate(lines, start=2):
        side, lid = (row["side"] or "").strip(), (row["lid"] or "").strip()
        if side not in ("left", "right") or lid not in ("upper", "lower"):
            raise BadFile(f"{file}: line {number}: {side!r}, {lid!r}: left or right, and upper or lower, are expected")
        found.setdefault(side, {"upper": [], "lower": []})[lid].append(_place(file, number, row))
    for side, lids in found.items():
        for lid, points in lids.items():
            if len(points) < _FEWEST:
                raise BadFile(
                    f"{file}: the {side} eye's {lid} margin has {len(points)} points: give at least {_FEWEST}"
                )
    if not found:
        raise BadFile(f"{file}: holds no points under its header")
    return {side: (np.array(lids["upper"]), np.array(lids["lower"])) for side, lids in found.items()}


def _place(file: Path, number: int, row: dict[str, str]) -> list[float]:
    try:
        place = [float(row[axis]) for axis in ("x", "y", "z")]
    except (TypeError, ValueError):
        place = [np.nan]
    if not np.isfinite(place).all():
        raise BadFile(f"{file}: line {number}: x, y and z must be numbers")
    return place
