"""Figures and settings as plain Python, ready for JSON and TOML."""

import json
import math
from collections.abc import Mapping
from typing import Any

import numpy as np


def plain(value: Any) -> Any:
    """Numbers, text, lists and dictionaries in place of NumPy's kinds and of tuples.

    Parameters
    ----------
    value : anything a step measures or a setting holds

    Returns
    -------
    bool, int, float, str, None, or lists and dictionaries of them.

    Raises
    ------
    TypeError
        Something that cannot be written down as text.
    """
    if value is None or isinstance(value, bool | int | float | str):
        return value.item() if isinstance(value, np.generic) else value
    if isinstance(value, np.generic | np.ndarray):
        return value.tolist()
    if isinstance(value, Mapping):
        return {str(name): plain(each) for name, each in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        return [plain(each) for each in value]
    raise TypeError(f"a {type(value).__name__} cannot be written as a figure")


def as_json(value: Any, indent: int | None = None) -> str:
    """`value` as JSON text any reader takes: what is not a finite number becomes null."""
    return json.dumps(_finite(plain(value)), indent=indent, ensure_ascii=False, allow_nan=False)


def _finite(value: Any) -> Any:
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if isinstance(value, dict):
        return {name: _finite(each) for name, each in value.items()}
    if isinstance(value, list):
        return [_finite(each) for each in value]
    return value
