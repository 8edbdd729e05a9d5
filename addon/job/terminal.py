"""What a person at the terminal sees: how far the work is, and figures."""

import shutil
import time
from collections.abc import Mapping
from typing import Any, TextIO

from ..geometry.progress import SILENT, Progress
from .wording import named, value_text

_INTERVAL = 0.1  # seconds between two writings of the line
_MOST_ROWS = 40  # of a table at the terminal


def progress_on(stream: TextIO) -> Progress:
    """A progress line on a terminal; silent where the stream is a pipe or a file."""
    return Progress(_Line(stream)) if stream.isatty() else SILENT


def figure_lines(figures: Mapping[str, Any]) -> list[str]:
    """One line a figure: its name in words, its value, its unit. Of a table a line a row; a long one is counted."""
    lines = []
    for name, value in figures.items():
        words, unit = named(name)
        rows = value if isinstance(value, list) and value and all(isinstance(row, Mapping) for row in value) else []
        if len(rows) > _MOST_ROWS:
            lines.append(f"  {words:<30} {len(rows)} rows: --json gives them")
        elif rows:
            lines += [f"  {words if number == 0 else '':<30} {value_text(row)}" for number, row in enumerate(rows)]
        else:
            lines.append(f"  {words:<30} {value_text(value)} {unit}".rstrip())
    return lines


class _Line:
    """One line, written over and over, and wiped away at the end."""

    def __init__(self, stream: TextIO) -> None:
        self.stream = stream
        self.next_time = 0.0

    def __call__(self, fraction: float, what: str) -> None:
        """Show it, unless the last showing is too short ago."""
        now = time.monotonic()
        if now < self.next_time and fraction < 1.0:
            return
        self.next_time = now + _INTERVAL
        width = shutil.get_terminal_size().columns - 1
        words = "" if fraction >= 1.0 else f"{fraction:4.0%}  {what}"[:width]
        self.stream.write("\r" + words.ljust(width) + "\r")
        self.stream.flush()
