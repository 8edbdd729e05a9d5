"""Tables of numbers written as lines of text, in blocks, quickly."""

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

BLOCK = 50_000
"""Rows formatted at once: enough for speed, little enough for memory."""


def rows_of_text(row: str, table: NDArray[np.generic] | NDArray[Any]) -> Iterator[bytes]:
    """Blocks of lines: `row` is the %-format of one line with its end, `table` (n, w) holds its w numbers."""
    table = np.asarray(table)
    for start in range(0, len(table), BLOCK):
        block = table[start : start + BLOCK]
        yield ((row * len(block)) % tuple(block.ravel().tolist())).encode("ascii")
