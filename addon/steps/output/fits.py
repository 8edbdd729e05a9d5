"""Fits between parts that are put together: how much wider the hole is than the peg, at print size."""

import tomllib
from pathlib import Path

from ...geometry.errors import BadFile, BadSetting

FITS = {"none": 0.0, "press": 0.05, "slip": 0.18, "loose": 0.35}
"""Diametral clearance in mm. Common practice for resin prints (press 0.05, slip 0.15-0.20, loose 0.30-0.40): measure
your own printer with a gauge, and put what you find into a table of your own."""


def clearance_of(fit: str, table: str = "") -> float:
    """Diametral clearance of a fit, mm, from the table file if one is named, else from `FITS`.

    Parameters
    ----------
    fit : none, press, slip or loose, or a name the table has
    table : path of a TOML file of lines such as `slip = 0.22`; "" for the built-in table

    Raises
    ------
    BadFile, BadSetting
        The table cannot be read, or has no such fit or no sensible number for it.
    """
    fits = {**FITS, **_read(Path(table))} if table else FITS
    if fit not in fits:
        raise BadSetting(f"no fit called {fit!r}: there are {', '.join(fits)}")
    return fits[fit]


def _read(path: Path) -> dict[str, float]:
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as fault:
        raise BadFile(f"{path}: the table of fits cannot be read: {fault.strerror}") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as fault:
        raise BadFile(f"{path}: the table of fits is not TOML: {fault}") from None
    fits: dict[str, float] = {}
    for name, value in content.items():
        if isinstance(value, bool) or not isinstance(value, int | float) or not -1.0 <= value <= 5.0:
            raise BadFile(f"{path}: fit {name} must be millimetres from -1 to 5, not {value!r}")
        fits[name] = float(value)
    return fits
