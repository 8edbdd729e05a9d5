"""What a person at the terminal sees: how far the work is, figures, faults."""

import shutil
import time
from collections.abc import Mapping
from typing import Any, TextIO

from ..geometry.progress import SILENT, Progress


def progress_on(stream: TextIO) -> Progress:
    """A progress line on a terminal; silent where the stream is a pipe or a file."""
    return Progress(_Line(stream)) if stream.isatty() else SILENT


class _Line:
    """One line, written over and over, at most ten times a second."""

    def __init__(self, stream: TextIO) -> None:
        self.stream = stream
        self.next_time = 0.0

    def __call__(self, fraction: float, what: str) -> None:
        now = time.monotonic()
        if now < self.next_time and fraction < 1.0:
            return
        self.next_time = now + 0.1
        width = shutil.get_terminal_size().columns - 1
        words = f"{fraction:4.0%}  {what}"[:width]
        self.stream.write("\r" + words.ljust(width) + ("\r" + " " * width + "\r" if fraction >= 1.0 else ""))
        self.stream.flush()


def figure_lines(figures: Mapping[str, Any]) -> list[str]:
    """One line a figure: its name with spaces, and its value."""
    return [f"  {name.replace('_', ' '):<32} {_text(value)}" for name, value in figures.items()]


def _text(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int):
        return f"{value:,}"
    if isinstance(value, float):
        return f"{value:.4g}" if abs(value) < 1e4 else f"{value:,.0f}"
    if isinstance(value, list):
        return ", ".join(_text(each) for each in value)
    if isinstance(value, Mapping):
        return ", ".join(f"{name} {_text(each)}" for name, each in value.items())
    return str(value)
