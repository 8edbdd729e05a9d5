"""Lines of words turned into numbers, with the line at fault when one is not a number."""

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from ..geometry.errors import BadFile

BLOCK = 100_000
"""Lines read at once."""


def numbers_in(
    lines: Sequence[bytes], line_of: Callable[[int], int], width: int = 0, separator: str | None = None
) -> NDArray[np.float64]:
    """(k, w) float64 array of the numbers on each line, all lines equally long.

    Parameters
    ----------
    lines : the lines, none of them empty
    line_of : tells the line number in the file of a row of `lines`, for the fault
    width : numbers there must be on each line, 0 for as many as on the first
    separator : what stands between numbers, None for blanks

    Raises
    ------
    BadFile
        A word that is no number, or a line with more or fewer of them.
    """
    blocks = []
    for start in range(0, len(lines), BLOCK):  # a block at a time, so that the text is not held twice
        text = [line.decode("latin-1") for line in lines[start : start + BLOCK]]

        def line_in_block(row: int, start: int = start) -> int:
            return line_of(start + row)

        try:
            table = np.loadtxt(text, dtype=np.float64, comments=None, ndmin=2, delimiter=separator)
        except ValueError:
            raise _first_fault(text, line_in_block, width, separator) from None
        width = width or table.shape[1]
        if table.shape[1] != width:
            raise _first_fault(text, line_in_block, width, separator)
        blocks.append(table)
    return np.concatenate(blocks) if blocks else np.zeros((0, width))


def shown(word: str) -> str:
    """A word as it can stand in a line of report: short, quoted, nothing unprintable."""
    return repr(word[:24] + ("..." if len(word) > 24 else ""))


def _first_fault(text: Sequence[str], line_of: Callable[[int], int], width: int, separator: str | None) -> BadFile:
    """The fault of the first line that is not `width` numbers."""
    for row, line in enumerate(text):
        words = line.split(separator)
        width = width or len(words)
        for word in words:
            try:
                float(word)
            except ValueError:
                return BadFile(f"line {line_of(row)}: {shown(word.strip())} is not a number")
        if len(words) != width:
            return BadFile(f"line {line_of(row)} holds {len(words)} numbers where {width} belong")
    return BadFile(f"lines {line_of(0)} to {line_of(len(text) - 1)} are not a table of numbers")
