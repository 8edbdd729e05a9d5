"""How long work says how far it is, and how it is stopped."""

from collections.abc import Callable
from dataclasses import dataclass


class Cancelled(Exception):
    """Raised out of a progress call when the user stops the work. The workpiece stays as it was."""


@dataclass(frozen=True)
class Progress:
    """A listener and the stretch of it that belongs to the work at hand.

    Call it with a fraction from 0 to 1 of *this* work and a few words on what is being done. The listener gets
    the fraction of the whole, and stops the work by raising `Cancelled`.
    """

    listener: Callable[[float, str], None]
    start: float = 0.0
    end: float = 1.0

    def __call__(self, fraction: float, what: str) -> None:
        """Say that `fraction` of this work is done and `what` comes now."""
        self.listener(self.start + (self.end - self.start) * min(max(fraction, 0.0), 1.0), what)

    def stretch(self, start: float, end: float) -> "Progress":
        """The progress of a piece of this work that runs from `start` to `end`, fractions of this work."""
        width = self.end - self.start
        return Progress(self.listener, self.start + width * start, self.start + width * end)


def _ignore(_fraction: float, _what: str) -> None:
    return


SILENT = Progress(_ignore)
"""For callers that do not listen."""
