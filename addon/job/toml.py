"""Values as TOML spells them: the standard library reads the format and does not write it."""

import json
import math
from typing import Any


def toml_value(value: Any) -> str:
    """A bool, number, text or list in TOML 1.0. Floats read back to the same bits.

    Raises
    ------
    TypeError
        TOML has no such value (None, a table inside a list).
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return _float(value)
    if isinstance(value, str):
        # JSON's escapes are a subset of TOML's, but for the delete character, which TOML wants escaped too.
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007F")
    if isinstance(value, list):
        return "[" + ", ".join(toml_value(each) for each in value) + "]"
    raise TypeError(f"TOML has no value for a {type(value).__name__}")


def _float(value: float) -> str:
    if math.isnan(value):
        return "nan"
    if math.isinf(value):
        return "inf" if value > 0 else "-inf"
    text = repr(value)
    return text if any(mark in text for mark in ".en") else text + ".0"
