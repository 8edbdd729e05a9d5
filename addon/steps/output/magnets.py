"""Disc magnets a bore may be made for: a small table, and how to put one's own in its place."""

import tomllib
from dataclasses import dataclass
from pathlib import Path

from ...geometry.errors import BadFile, BadSetting


@dataclass(frozen=True)
class Disc:
    """A disc magnet, diameter and height in millimetres."""

    diameter: float
    height: float


MAGNETS = {
    f"{diameter:g}x{height:g}": Disc(diameter, height)
    for diameter, height in (
        *((2.0, 1.0), (3.0, 1.0), (3.0, 2.0), (4.0, 2.0), (5.0, 1.0), (5.0, 2.0), (5.0, 3.0)),
        *((6.0, 2.0), (6.0, 3.0), (8.0, 2.0), (8.0, 3.0), (10.0, 3.0), (12.0, 3.0), (15.0, 4.0), (20.0, 5.0)),
    )
}
"""Discs that are usually sold, by diameter and height: common practice, no source. Measure yours: plated ones run a few
hundredths large, and the fit's clearance is added to the bore."""


def disc_named(name: str, table: str = "") -> Disc:
    """The disc of that name, such as "5x2", from a TOML file of one's own where given.

    Parameters
    ----------
    name : a name of `MAGNETS`, or of the file
    table : path of a file of lines such as ``mine = [5.1, 2.05]``, diameter and height in millimetres

    Raises
    ------
    BadSetting, BadFile
        No disc of that name; a file that does not hold such lines.
    """
    discs = magnets(table)
    if name not in discs:
        raise BadSetting(f"neck: no magnet called {name!r}: there are {', '.join(discs)}")
    return discs[name]


def suiting(most: float, table: str = "") -> Disc | None:
    """The widest disc up to `most` millimetres, the thickest of those; None where all are wider."""
    fitting = [disc for disc in magnets(table).values() if disc.diameter <= most]
    return max(fitting, key=lambda disc: (disc.diameter, disc.height), default=None)


def magnets(table: str = "") -> dict[str, Disc]:
    """All discs by name, those of the file besides the usual ones."""
    if not table:
        return MAGNETS
    try:
        content = tomllib.loads(Path(table).read_text(encoding="utf-8"))
        own = {name: Disc(*(float(each) for each in sizes)) for name, sizes in content.items()}
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError, TypeError, ValueError) as error:
        raise BadFile(f"{table}: not a table of magnets ({error}): give each as [diameter, height]") from None
    for name, disc in own.items():
        if not (0 < disc.diameter <= 100 and 0 < disc.height <= 100):
            raise BadFile(f"{table}: magnet {name} needs a diameter and a height from 0 to 100 mm")
    return {**MAGNETS, **own}
