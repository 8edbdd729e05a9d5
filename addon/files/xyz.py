"""XYZ and other plain text: a point a line, numbers between blanks, commas, semicolons or tabs."""

import re
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from ..geometry.cloud import Cloud
from ..geometry.errors import BadFile
from .contents import COLOUR, NORMAL, OTHER_NAMES, PLACE, Columns, Contents
from .lines import rows_of_text
from .words import numbers_in

COMMENTS = (b"#", b"//", b"%", b"!", b";")


def xyz_contents(data: bytes) -> Contents:
    """The points of a text file. Empty lines, and comments after # // % ! or a leading ;, are passed over.

    Columns are named by a first line of words (x y z nx ny nz red green blue ...). Without one, after x y z come
    colours where three columns are whole numbers from 0 to 255, a normal where three have unit length, and values
    kept as `column-4` and so on otherwise.
    """
    if b"\0" in data[:4096]:
        raise BadFile("is binary, not text, and no format Canthus knows")
    lines = data.splitlines()
    names = _names(lines)
    rows = [row for row, line in enumerate(lines) if _is_data(line)]
    if names and rows and _words(lines[rows[0]]) == names:
        del rows[0]
    rows = _without_count(lines, rows)
    if not rows:
        raise BadFile("holds no points: there is not one line of numbers")
    table = numbers_in(_with_blanks([lines[row] for row in rows]), lambda row: rows[row] + 1)
    if table.shape[1] < 3:
        raise BadFile(f"line {rows[0] + 1} holds {table.shape[1]} numbers: a point needs x, y and z")
    if len(names) == table.shape[1]:
        return Contents({name: table[:, at] for at, name in enumerate(names)})
    return Contents(_guessed(table))


def write_xyz(file: BinaryIO, cloud: Cloud) -> None:
    """Write a line of words naming the columns, then a point a line."""
    table, names, row = [cloud.points], list(PLACE), "%.9g %.9g %.9g"
    if cloud.normals is not None:
        table, names, row = [*table, cloud.normals], [*names, *NORMAL], row + " %.6g %.6g %.6g"
    if cloud.colours is not None:
        table, names, row = [*table, cloud.colours.astype(float)], [*names, *COLOUR], row + " %d %d %d"
    file.write(("# " + " ".join(names) + "\n").encode())
    for text in rows_of_text(row + "\n", np.hstack(table)):
        file.write(text)


def _is_data(line: bytes) -> bool:
    stripped = line.strip()
    return bool(stripped) and not stripped.startswith(COMMENTS)


def _words(line: bytes) -> list[str]:
    """The names on a line of words, as columns are called here; units in brackets are dropped."""
    text = re.sub(r"[\[(].*?[\])]", "", line.decode("latin-1").lstrip("#/%!; ").lower())
    words = [word.strip("\"'") for word in re.split(r"[\s,;]+", text.strip()) if word]
    return [OTHER_NAMES.get(word, word) for word in words]


def _names(lines: list[bytes]) -> list[str]:
    """The columns' names from the first line of words among the first few, or none."""
    for line in lines[:20]:
        words = _words(line)
        if set(PLACE) <= set(words) and len(set(words)) == len(words):
            return words
        if _is_data(line):
            break
    return []


def _without_count(lines: list[bytes], rows: list[int]) -> list[int]:
    """The rows without a first line that only says how many points follow."""
    if len(rows) > 1 and lines[rows[0]].strip() == str(len(rows) - 1).encode():
        return rows[1:]
    return rows


def _with_blanks(lines: list[bytes]) -> list[bytes]:
    """The lines with blanks between their numbers and points in them, whatever the country they come from."""
    first = lines[0]
    if b"," not in first and b";" not in first:
        return lines
    text = b"\n".join(lines)
    decimal = [bool(re.fullmatch(rb"[-+]?\d+,\d+", word)) for word in first.split()]
    if b";" in first or (len(decimal) > 1 and all(decimal)):
        text = text.replace(b",", b".").replace(b";", b" ")
    return text.replace(b",", b" ").split(b"\n")


def _guessed(table: NDArray[np.float64]) -> Columns:
    """Columns named by what they look like, three at a time after the place."""
    columns = {axis: table[:, at] for at, axis in enumerate(PLACE)}
    at = 3
    while at < table.shape[1]:
        three = table[:, at : at + 3]
        names = _looks_like(three) if three.shape[1] == 3 else None
        if names is None or names[0] in columns:
            columns[f"column-{at + 1}"] = table[:, at]
            at += 1
            continue
        columns.update({name: three[:, offset] for offset, name in enumerate(names)})
        at += 3
    return columns


def _looks_like(three: NDArray[np.float64]) -> tuple[str, ...] | None:
    """Normal, colour or neither."""
    lengths = np.linalg.norm(three, axis=1)
    if np.isfinite(lengths).all() and (np.abs(lengths - 1) < 0.01).all():
        return NORMAL
    whole = (three == np.rint(three)).all() and three.min() >= 0 and three.max() <= 255
    return COLOUR if whole else None
