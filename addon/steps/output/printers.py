"""Printers a part may be meant for: a small table, and how to put one's own in its place."""

import tomllib
from dataclasses import dataclass
from pathlib import Path

from ...geometry.errors import BadFile, BadSetting


@dataclass(frozen=True)
class Printer:
    """A vat printer: its plate as width, depth and height, its pixel and its layer, all millimetres."""

    plate: tuple[float, float, float]
    pixel: float
    layer: float


PRINTERS = {
    "small": Printer((120.0, 68.0, 155.0), 0.035, 0.05),
    "medium": Printer((143.0, 89.0, 165.0), 0.05, 0.05),
    "large": Printer((218.0, 123.0, 220.0), 0.05, 0.05),
}
"""Usual sizes of desktop machines, rounded: common practice, no source; pixel and layer likewise."""


def printer_named(name: str, table: str = "") -> Printer:
    """The printer of that name, from a TOML file of one's own where given.

    Parameters
    ----------
    name : a name of `PRINTERS`, or of the file
    table : path of a file with entries such as ``[mine]``, ``plate = [143, 89, 165]``, ``pixel = 0.05``,
        ``layer = 0.05``

    Raises
    ------
    BadSetting, BadFile
        No printer of that name; a file that does not hold such entries.
    """
    printers = dict(PRINTERS) | (_read(table) if table else {})
    if name not in printers:
        raise BadSetting(f"check: no printer called {name!r}: there are {', '.join(printers)}")
    return printers[name]


def _read(table: str) -> dict[str, Printer]:
    try:
        entries = tomllib.loads(Path(table).read_text(encoding="utf-8"))
        printers = {
            name: Printer(tuple(map(float, entry["plate"])), float(entry["pixel"]), float(entry["layer"]))  # type: ignore[arg-type]
            for name, entry in entries.items()
        }
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError, KeyError, TypeError, ValueError) as error:
        raise BadFile(f"{table}: not a table of printers ({error}): give plate, pixel and layer for each") from None
    for name, printer in printers.items():
        if len(printer.plate) != 3 or min(*printer.plate, printer.pixel, printer.layer) <= 0:
            raise BadFile(f"{table}: printer {name} needs a plate of three lengths, a pixel and a layer, all above 0")
    return printers
