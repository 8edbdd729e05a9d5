"""Eyes there are to put in: the usual series, diameters typed in, or a table of one's own."""

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from ...anatomy.eyes.eye import nearest_stock, stock_series
from ...geometry.errors import BadFile, BadSetting

_COMPARED = 3
"""Eyes that are shown with what each would cost."""
_LARGEST = 60.0  # mm


def eye_stock(series: str, table: str) -> dict[str, float]:
    """Name to diameter in mm of the eyes to choose from.

    Parameters
    ----------
    series : diameters, such as "3, 4, 6"; empty for the usual ones
    table : path of a TOML file with entries such as ``[glass-6]``, ``diameter = 6.0``; empty for none

    Raises
    ------
    BadSetting
        Both are given, or the series holds something that is no diameter.
    BadFile
        The table cannot be read, or an entry has no diameter above 0.
    """
    if series.strip() and table:
        raise BadSetting("place-eyes: series and stock are both given: keep the one that lists your eyes")
    return _read(table) if table else {f"{size:g} mm": size for size in stock_series(series)}


def chosen_eye(wanted: float, stock: Mapping[str, float]) -> str:
    """The name of the eye nearest to the diameter wanted, by ratio; of two alike the first."""
    nearest = nearest_stock(wanted, tuple(stock.values()))
    return next(name for name, size in stock.items() if size == nearest)


def eyes_to_choose_from(wanted: float, stock: Mapping[str, float]) -> list[dict[str, Any]]:
    """The nearest few eyes, smallest first: what each differs from the diameter wanted, per cent."""
    near = sorted(stock, key=lambda name: max(stock[name] / wanted, wanted / stock[name]))[:_COMPARED]
    return [
        {"eye": name, "diameter_mm": stock[name], "size_error_percent": 100 * (stock[name] / wanted - 1)}
        for name in sorted(near, key=lambda name: stock[name])
    ]


def _read(table: str) -> dict[str, float]:
    try:
        entries = tomllib.loads(Path(table).read_text(encoding="utf-8"))
        stock = {name: float(entry["diameter"]) for name, entry in entries.items()}
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError, KeyError, TypeError, ValueError) as error:
        raise BadFile(f"{table}: not a table of eyes ({error}): give each a name and a diameter in mm") from None
    for name, size in stock.items():
        if not 0 < size <= _LARGEST:
            raise BadFile(f"{table}: eye {name} needs a diameter above 0 and up to {_LARGEST:g} mm, not {size:g}")
    if not stock:
        raise BadFile(f"{table}: holds no eyes: give each a name and a diameter in mm")
    return stock
