"""Figures in words: a name with its unit taken off the end, a value as a person writes it."""

from collections.abc import Mapping
from fractions import Fraction
from typing import Any

_UNITS = {
    "mm": "mm",
    "mm2": "mm²",
    "mm3": "mm³",
    "ml": "ml",
    "g": "g",
    "deg": "°",
    "degrees": "°",
    "percent": "%",
    "seconds": "s",
    "mb": "MB",
    "um": "µm",
}


def named(name: str) -> tuple[str, str]:
    """A figure's name in words, and its unit: "wall_least_mm" is ("wall least", "mm")."""
    words = name.replace("-", "_").split("_")
    if len(words) > 2 and words[-1] in ("life", "print") and words[-2] in _UNITS:
        return " ".join(words[:-2]), f"{_UNITS[words[-2]]} at {words[-1]} size"
    if len(words) > 2 and words[-1] == "now" and words[-2] in _UNITS:  # as it is, beside what it might be
        return " ".join([*words[:-2], "now"]), _UNITS[words[-2]]
    unit = _UNITS.get(words[-1], "") if len(words) > 1 else ""
    return " ".join(words[:-1] if unit else words), unit


def value_text(value: Any) -> str:
    """A number with the digits it deserves, yes or no, a list with commas, "-" for nothing."""
    if value is None or value == "" or value == []:
        return "-"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int):
        return f"{value:,}"
    if isinstance(value, float):
        return _number(value)
    if isinstance(value, list | tuple):
        return ", ".join(value_text(each) for each in value)
    if isinstance(value, Mapping):
        return "; ".join(_with_unit(str(name), each) for name, each in value.items())
    return str(value)


def _with_unit(name: str, value: Any) -> str:
    """One figure of a row: "mm 206" of a name that is nothing but a unit is "206 mm"."""
    words, unit = named(name)
    if words in _UNITS:
        words, unit = "", _UNITS[words]
    text = value_text(value)
    return " ".join(part for part in (words, text, unit if text != "-" else "") if part)


def finding_text(check: Mapping[str, Any]) -> str:
    """A finding of the check with its limit, its place and what to do."""
    where = value_text(check["where"])
    place = f" at {where}" if where != "-" else ""
    advice = f": {check['advice']}" if check["advice"] else ""
    wanted = f", wanted {limit(check)}" if limit(check) else ""
    return f"{check['name']} {measured(check)}{wanted}{place}{advice}"


def measured(check: Mapping[str, Any]) -> str:
    """What a finding measured, with its unit; yes or no where that is all it is."""
    if _plain_question(check):
        return "yes" if check["value"] else "no"
    return f"{value_text(check['value'])} {check['unit']}".strip()


def limit(check: Mapping[str, Any]) -> str:
    """What a finding is held against, with its unit: at least or at most so much; nothing where it is yes or no."""
    if _plain_question(check):
        return ""
    if check["limit"] == 0:
        return "none"
    least = check["value"] < check["limit"] if not check["ok"] else check["value"] > check["limit"]
    return f"at {'least' if least else 'most'} {value_text(check['limit'])} {check['unit']}".strip()


def against(check: Mapping[str, Any]) -> str:
    """What a finding measured, and what was wanted; a nought where none was wanted says so by itself."""
    return ", ".join(each for each in (measured(check), limit(check)) if each not in ("", "none"))


def _plain_question(check: Mapping[str, Any]) -> bool:
    """Whether a finding counts nothing and measures nothing: inside out, a step that was left out."""
    return not check["unit"] and {check["value"], check["limit"]} <= {0, 1}


def scale_text(scale: float) -> str:
    """1/6 for 0.16667, "life size" for 1, else a plain number."""
    near = Fraction(scale).limit_denominator(100)
    if near == 1:
        return "life size"
    if near > 0 and abs(float(near) - scale) <= 1e-9 * scale:
        return f"{near.numerator}/{near.denominator}"
    return f"{scale:.4f}"


def _number(value: float) -> str:
    size = abs(value)
    if size >= 10_000:
        return f"{value:,.0f}"
    if 0 < size < 0.0005:
        return "<0.001" if value > 0 else ">-0.001"
    digits = 1 if size >= 100 else 2 if size >= 10 else 3
    text = f"{value:,.{digits}f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
