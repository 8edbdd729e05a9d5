"""What the rows of the benchmark are made of: the row, the clock, references, and how functions of rows are declared.

A module of rows looks like this; `tools/benchmark.py` lists it in `STAGES`:

    @measured("orient", sizes=(200_000, 1_000_000))
    def orient(bench: Bench, points: int) -> Iterator[Row]:
        cloud = bench.capture(points)
        ours = timed(lambda: along_a_tree(...))
        theirs = timed(lambda: ...) if (open3d := library("open3d")) else None
        yield row("orientation", points, ours, "tangent plane (open3d)", theirs, bar=0.2).quality(
            "wrong %", share_wrong(ours.result), theirs and share_wrong(theirs.result), bar=1.0)
"""

import dataclasses
import functools
import importlib
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from types import ModuleType
from typing import Any, Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

from .bench import Bench

T = TypeVar("T")
U = TypeVar("U")


@dataclass(frozen=True)
class Timed(Generic[T]):
    """What a call gave and the seconds it took, the shortest of its repeats."""

    result: T
    seconds: float


def timed(call: Callable[[], T], repeats: int = 1) -> Timed[T]:
    """Run it so many times by the wall clock; the last result."""
    seconds = []
    for _ in range(repeats):
        begun = time.perf_counter()
        result = call()
        seconds.append(time.perf_counter() - begun)
    return Timed(result, min(seconds))


def timed_in_turn(ours: Callable[[], T], theirs: Callable[[], U], repeats: int = 3) -> tuple[Timed[T], Timed[U]]:
    """Both timed, one after the other and so many times: a slow spell of the machine falls on both, the ratio holds."""
    own, other = timed(ours), timed(theirs)
    for _ in range(repeats - 1):
        again, counter = timed(ours), timed(theirs)
        own, other = min(own, again, key=_seconds), min(other, counter, key=_seconds)
    return own, other


def timed_beside(
    ours: Callable[[], T], theirs: Callable[[], U] | None, repeats: int = 3
) -> tuple[Timed[T], Timed[U] | None]:
    """The same, or ours alone where there is nothing to call beside it."""
    return (timed(ours, repeats), None) if theirs is None else timed_in_turn(ours, theirs, repeats)


def _seconds(one: Timed[Any]) -> float:
    return one.seconds


@dataclass(frozen=True)
class Quality:
    """One measure of how good it came out, less being better; `theirs` None where no reference says it.

    `bar` bounds ours over theirs, or ours itself where `absolute`.
    """

    name: str
    ours: float
    theirs: float | None = None
    bar: float | None = None
    absolute: bool = False

    @property
    def met(self) -> bool | None:
        """Whether the bar is met; None where there is none, or nothing to hold it against."""
        if self.bar is None:
            return None
        if self.absolute:
            return self.ours <= self.bar
        return None if self.theirs is None else self.ours <= self.bar * self.theirs


@dataclass(frozen=True)
class Row:
    """One line of the table: an operation at a size, ours beside a reference, in one run."""

    operation: str
    size: int
    seconds: float
    reference: str = ""
    reference_seconds: float | None = None
    bar: float | None = None
    qualities: tuple[Quality, ...] = field(default=())

    @property
    def ratio(self) -> float | None:
        """Our time over theirs."""
        return None if self.reference_seconds is None else self.seconds / self.reference_seconds

    @property
    def met(self) -> bool | None:
        """Whether our time meets the bar."""
        return None if self.bar is None or self.ratio is None else self.ratio <= self.bar

    def quality(
        self,
        name: str,
        ours: float,
        theirs: float | None = None,
        bar: float | None = None,
        absolute: bool = False,
    ) -> "Row":
        """The row with one more measure; its unit belongs in the name."""
        return dataclasses.replace(self, qualities=(*self.qualities, Quality(name, ours, theirs, bar, absolute)))


def row(
    operation: str,
    size: int,
    ours: Timed[Any],
    reference: str = "",
    theirs: Timed[Any] | None = None,
    bar: float | None = None,
) -> Row:
    """A row from two timed calls; `bar` bounds the ratio of their times, `theirs` is None where not installed."""
    return Row(operation, size, ours.seconds, reference, None if theirs is None else theirs.seconds, bar)


@functools.cache
def library(name: str) -> ModuleType | None:
    """A reference library, or None after saying that it is left out."""
    try:
        return importlib.import_module(name)
    except ImportError:
        print(f"left out: {name} is not installed, so nothing is compared with it")
        return None


def root_mean_square(values: NDArray[np.float64]) -> float:
    """Square root of the mean of the squares; NaN of nothing."""
    return float(np.sqrt(np.mean(np.square(values))))


Measure = Callable[[Bench, int], Iterable[Row]]


@dataclass(frozen=True)
class Measured:
    """A function of rows, the name it is asked for by, and the sizes it is run at unless others are asked for."""

    name: str
    sizes: tuple[int, ...]
    rows: Measure


MEASURES: dict[str, Measured] = {}
"""All of them by name, in the order their modules declare them."""


def measured(name: str, sizes: Sequence[int] = (200_000, 1_000_000)) -> Callable[[Measure], Measure]:
    """Declare a function `(bench, size) -> rows` under a name of the command line (a step's name, where it fits)."""

    def declare(rows: Measure) -> Measure:
        if name in MEASURES:
            raise ValueError(f"two measures are called {name}")
        MEASURES[name] = Measured(name, tuple(sizes), rows)
        return rows

    return declare
