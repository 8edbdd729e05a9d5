"""The list of steps a person reads: `canthus steps`, and the table of the README."""

import dataclasses
from itertools import groupby
from typing import Any

from ..steps.catalogue import all_steps
from ..steps.step import Setting, Step


def listing() -> str:
    """Every step by stage, with its settings: default, unit, range, what it is."""
    lines: list[str] = []
    for stage, steps in groupby(all_steps(), key=lambda step: step.STAGE):
        lines += [stage.upper(), ""]
        for step in steps:
            lines += _step_lines(step)
    return "\n".join(lines)


def listing_figures() -> dict[str, Any]:
    """The same in plain values: step to stage, summary and settings."""
    return {
        step.NAME: {
            "stage": step.STAGE,
            "summary": step.summary(),
            "settings": {each.name: _setting(each) for each in step.settings()},
        }
        for step in all_steps()
    }


def range_text(each: Setting) -> str:
    """What a setting may be: "4 to 64", "peg | cup | magnet", "" where anything goes."""
    if each.choices:
        return " | ".join(each.choices)
    if each.kind == "bool":
        return "yes | no"
    if each.low is not None and each.high is not None:
        return f"{each.low:g} to {each.high:g}"
    if each.low is not None:
        return f"from {each.low:g}"
    return "" if each.high is None else f"up to {each.high:g}"


def default_text(each: Setting) -> str:
    """The default as one would type it."""
    if isinstance(each.default, bool):
        return "yes" if each.default else "no"
    if isinstance(each.default, float):
        return f"{each.default:.4g}"
    if isinstance(each.default, tuple):
        return ",".join(f"{number:g}" for number in each.default) or "-"
    return str(each.default) or "-"


def unit_text(each: Setting) -> str:
    """Unit and size: "mm at print size", "deg"; nothing for a plain number."""
    return f"{each.unit} at {each.at} size" if each.at else each.unit


def _setting(each: Setting) -> dict[str, Any]:
    facts = dataclasses.asdict(each)
    facts.pop("name")
    return {"flag": each.flag, **facts}


def _step_lines(step: type[Step]) -> list[str]:
    rows = [(each.flag, default_text(each), unit_text(each), range_text(each), each.help) for each in step.settings()]
    lines = [f"  {step.NAME}", f"      {step.summary()}"]
    if rows:
        widths = [max(len(row[column]) for row in rows) for column in range(4)]
        lines += [
            "      " + "  ".join(cell.ljust(width) for cell, width in zip(row, (*widths, 0), strict=True)).rstrip()
            for row in rows
        ]
    return [*lines, ""]
