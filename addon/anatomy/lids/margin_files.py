"""Lid margins drawn by hand, as a small table."""

from pathlib import Path

from ...geometry.errors import BadFile
from ...geometry.plain_text import text_of
from ..drawn_edges import Edges, points_of_table, whole_edges

Margins = Edges
"""Side to the (n, 3) points of its upper and its lower margin."""

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
    found = points_of_table(file, text, "lid")
    if not found:
        raise BadFile(f"{file}: holds no points under its header")
    return whole_edges(file, found, "{side} eye's {edge} margin", _FEWEST)
