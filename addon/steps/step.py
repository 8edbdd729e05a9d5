"""A step, declared once: its settings give the Python call, the sub-command, the recipe entry and the button."""

import dataclasses
import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, ClassVar, Self

from ..geometry.errors import BadSetting
from ..geometry.progress import SILENT, Progress
from .workpiece import Workpiece


@dataclass(frozen=True)
class Setting:
    """What is known of one setting besides its value.

    `unit` is "mm", "deg", "%" or "" for a plain number; `at` says which size a length is measured at: "life" or
    "print", "" where the step takes it as the workpiece stands. `kind` is "float", "int", "bool", "text",
    "choice", "ratio" (0.1667, 1/6 or 1:6), "path" (a file to read) or "point" (three numbers).
    """

    name: str
    kind: str
    default: Any
    low: float | None
    high: float | None
    unit: str
    at: str
    choices: tuple[str, ...]
    help: str

    @property
    def flag(self) -> str:
        """The option's spelling on the command line."""
        return "--" + self.name.replace("_", "-")


def setting(
    default: Any,
    *,
    help: str,
    low: float | None = None,
    high: float | None = None,
    unit: str = "",
    at: str = "",
    choices: tuple[str, ...] = (),
    kind: str = "",
) -> Any:
    """Declare a field of a `Step`. `kind` is found from the default unless given."""
    found = kind or ("choice" if choices else {bool: "bool", int: "int", float: "float", str: "text"}[type(default)])
    facts = {"kind": found, "low": low, "high": high, "unit": unit, "at": at, "choices": choices, "help": help}
    return dataclasses.field(default=default, metadata=facts)


@dataclass(frozen=True)
class Step:
    """One operation of the trade. A subclass gives its settings as fields and does the work in `apply`.

    `NAME` is its one name everywhere, `STAGE` the stage of the job it belongs to. The first line of its docstring
    is the line of help on every face. `LIGHT` steps answer within half a second and run in place in the host.
    `NEEDS` is what has to be there before its button can be pressed, "a or b" where either will do. `READS` and
    `CHANGES` are kinds of things (`kinds`): those its outcome hangs on, not those it only hands on, and those it makes
    different; to move or to scale all of it alike is the frame's and the scale's alone.
    """

    NAME: ClassVar[str]
    STAGE: ClassVar[str]
    LIGHT: ClassVar[bool] = False
    NEEDS: ClassVar[tuple[str, ...]] = ("head",)
    READS: ClassVar[frozenset[str]]
    CHANGES: ClassVar[frozenset[str]]

    def __post_init__(self) -> None:
        for each in self.settings():
            object.__setattr__(self, each.name, checked(self.NAME, each, getattr(self, each.name)))

    @classmethod
    def settings(cls) -> Iterator[Setting]:
        """The settings in the order they are declared."""
        for each in dataclasses.fields(cls):
            yield Setting(each.name, default=each.default, **each.metadata)

    @classmethod
    def summary(cls) -> str:
        """The one line that says what the step does."""
        return (cls.__doc__ or "").strip().splitlines()[0]

    @classmethod
    def made_from(cls, values: Mapping[str, Any]) -> Self:
        """The step with these settings; an unknown name is refused and the known ones listed."""
        known = [each.name for each in cls.settings()]
        for name in values:
            if name not in known:
                raise BadSetting(f"{cls.NAME}: no setting called {name!r}: it takes {', '.join(known) or 'none'}")
        return cls(**values)

    @classmethod
    def read_with(cls, settings: Mapping[str, Any]) -> frozenset[str]:
        """`READS`, run with these settings."""
        return cls.READS

    @classmethod
    def changed_with(cls, settings: Mapping[str, Any]) -> frozenset[str]:
        """`CHANGES`, run with these settings."""
        return cls.CHANGES

    def values(self) -> dict[str, Any]:
        """Setting name to value, as a recipe holds them."""
        return {each.name: getattr(self, each.name) for each in self.settings()}

    def apply(self, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
        """The workpiece after this step. `piece` itself is not changed, so giving up half-way loses nothing."""
        raise NotImplementedError


def ratio(value: Any) -> float:
    """0.1667, "0.1667", "1/6" and "1:6" as a number. Raises ValueError."""
    return float(Fraction(value.strip().replace(":", "/"))) if isinstance(value, str) else float(value)


def checked(step: str, each: Setting, value: Any) -> Any:
    """`value` as the setting's kind, or `BadSetting` with the step, the setting, the range and what was given."""
    try:
        value = _CONVERT[each.kind](value)
    except (TypeError, ValueError, ZeroDivisionError, OverflowError):
        raise BadSetting(f"{step}: {each.name} takes {_KIND_WORDS[each.kind]}, not {value!r}") from None
    if each.choices and value not in each.choices:
        raise BadSetting(f"{step}: {each.name} is one of {', '.join(each.choices)}, not {value!r}")
    if each.kind in ("float", "int", "ratio"):
        low = -math.inf if each.low is None else each.low
        high = math.inf if each.high is None else each.high
        if not low <= value <= high:
            unit = f" {each.unit}" if each.unit else ""
            raise BadSetting(f"{step}: {each.name} runs from {low:g} to {high:g}{unit}, not {value:g}")
    return value


def _whole(value: Any) -> int:
    if isinstance(value, bool) or float(value) != int(float(value)):
        raise ValueError(value)
    return int(float(value))


def _number(value: Any) -> float:
    number = float(value)
    if isinstance(value, bool) or not math.isfinite(number):
        raise ValueError(value)
    return number


def _switch(value: Any) -> bool:
    if isinstance(value, str):
        return {"true": True, "yes": True, "on": True, "false": False, "no": False, "off": False}[value.lower()]
    if not isinstance(value, bool):
        raise ValueError(value)
    return value


def _switch_or_value_error(value: Any) -> bool:
    try:
        return _switch(value)
    except KeyError:
        raise ValueError(value) from None


def _point(value: Any) -> tuple[float, ...]:
    numbers = value.replace(",", " ").split() if isinstance(value, str) else value
    point = tuple(_number(each) for each in numbers)
    if len(point) not in (0, 3):
        raise ValueError(value)
    return point


_CONVERT: dict[str, Callable[[Any], Any]] = {
    "float": _number,
    "int": _whole,
    "bool": _switch_or_value_error,
    "ratio": ratio,
    "point": _point,
    "text": str,
    "choice": str,
    "path": str,
}
_KIND_WORDS = {
    "float": "a number",
    "int": "a whole number",
    "bool": "yes or no",
    "ratio": "a number or a ratio such as 1/6",
    "point": "three numbers, x,y,z",
    "text": "text",
    "choice": "one of its choices",
    "path": "a file's path",
}
