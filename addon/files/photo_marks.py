"""Landmarks and pupils marked in photographs, as a small open file, JSON or CSV.

Pixels count from the top left corner of the picture as it is stored, x to the right, y down; the middle of the first
pixel is (0.5, 0.5). Names are those of the landmarks; `left-pupil` and `right-pupil` are the sitter's own.

JSON holds ::

    {"photographs": [{"file": "front.jpg", "width": 2000, "height": 3000,
                      "gaze": "camera", "lens": "85 mm", "focal_px": 7000,
                      "marks": {"pronasale": [1004.5, 1710], "left-pupil": [1230, 1321]}}]}

and CSV a row a mark under `photograph,width,height,name,x,y`, with more columns if wanted. These may be left out:
`gaze` is where the sitter looks: "ahead" of the head (the default), into the "camera", or degrees to the sitter's left
and up from ahead, as `[10, -5]` or "10 -5". Photographs of one `lens` share their focal length (one camera, one zoom);
`focal_px` gives it. A photograph that was cut out of a larger one may say so, since lenses look through the middle of
that: `whole` is the larger one's size, `cut_at` where the top left corner lies in it, `[6000, 4000]` and `[3200, 400]`
or "6000 4000" and "3200 400", in this photograph's pixels.
"""

import csv
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from ..geometry.errors import BadFile
from ..geometry.photographs.cameras import Picture
from ..geometry.plain_text import json_of, text_of

PUPILS = ("left-pupil", "right-pupil")
"""Names of the pupils' centres; left and right are the sitter's own."""
AHEAD, INTO_CAMERA = "ahead", "camera"
MOST = 8
"""Photographs a file may hold."""
_LARGEST = 100_000  # pixels
_COLUMNS = ("photograph", "width", "height", "name", "x", "y")


@dataclass(frozen=True)
class PhotoMarks:
    """What was marked in one photograph.

    Parameters
    ----------
    file : the photograph's name, as seen from the marks file
    size : width and height, pixels
    marks : name to (x, y), pixels from the top left corner
    gaze : "ahead", "camera", or degrees to the sitter's left and up from ahead
    lens : photographs of one lens share their focal length; "" for one of its own
    focal : the focal length in pixels, 0 where it is unknown
    whole : width and height of the picture it was cut out of, in its own pixels; None where it is whole
    cut_at : where its top left corner lies in that
    """

    file: str
    size: tuple[int, int]
    marks: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    gaze: str | tuple[float, float] = AHEAD
    lens: str = ""
    focal: float = 0.0
    whole: tuple[int, int] | None = None
    cut_at: tuple[float, float] = (0.0, 0.0)

    @property
    def picture(self) -> Picture:
        """Its frame, within the whole picture if it was cut out of one."""
        return Picture(self.size, self.whole, self.cut_at)


def read_photo_marks(path: str | Path, names: Sequence[str]) -> list[PhotoMarks]:
    """The photographs of a .json or .csv file in their order, each with what was marked in it.

    Parameters
    ----------
    path : the file
    names : of the landmarks there are

    Raises
    ------
    BadFile
        Not readable, no photograph or more than eight, an unknown name, a mark outside its picture or given twice, a
        value that is no number; with the photograph, name or line at fault.
    """
    file = Path(path)
    text = text_of(file, "marks come as JSON or CSV")
    readers = {".json": _rows_of_json, ".csv": _rows_of_csv}
    if file.suffix.lower() not in readers:
        raise BadFile(f"{file}: marks come as .json or .csv, not {file.suffix or 'without an ending'}")
    found: dict[str, PhotoMarks] = {}
    for row in readers[file.suffix.lower()](file, text):
        fresh = _photograph(file, row)
        known = found.get(fresh.file, fresh)
        if replace(known, marks={}) != fresh:
            raise BadFile(f"{file}: {row.where}: size, gaze, lens, focal_px or whole of {fresh.file} differ from above")
        marks = {} if row.name is None else {_named(file, row, known, names): _pixel(file, row, fresh)}
        found[fresh.file] = replace(known, marks={**known.marks, **marks})
    if not 1 <= len(found) <= MOST:
        raise BadFile(f"{file}: holds {len(found)} photographs: give 1 to {MOST}")
    return list(found.values())


def photo_marks_text(photographs: Sequence[PhotoMarks], ending: str) -> str:
    """The marks as the text of a ".json" or ".csv" file that `read_photo_marks` reads back."""
    if ending.lower() == ".json":
        return json.dumps({"photographs": [_entry(each) for each in photographs]}, indent=1) + "\n"
    if ending.lower() == ".csv":
        lines = [",".join((*_COLUMNS, *_OPTIONAL))]
        for each in photographs:
            gaze = each.gaze if isinstance(each.gaze, str) else " ".join(f"{angle:g}" for angle in each.gaze)
            fixed = [_quoted(each.file), str(each.size[0]), str(each.size[1])]
            cut = [" ".join(f"{side:.9g}" for side in pair) for pair in (each.whole, each.cut_at)] if each.whole else []
            rest = [gaze, _quoted(each.lens), f"{each.focal:.9g}" if each.focal else "", *(cut or ["", ""])]
            lines += [",".join([*fixed, name, f"{x:.9g}", f"{y:.9g}", *rest]) for name, (x, y) in each.marks.items()]
        return "\n".join(lines) + "\n"
    raise BadFile(f"marks are written as .json or .csv, not {ending or 'without an ending'}")


@dataclass(frozen=True)
class _Row:
    """One mark as it was written; a photograph without marks is a row without a name."""

    where: str
    photograph: Mapping[str, Any]
    name: str | None = None
    place: Any = None


def _rows_of_csv(file: Path, text: str) -> list[_Row]:
    table = csv.DictReader(text.splitlines())
    missing = [name for name in _COLUMNS if name not in (table.fieldnames or ())]
    if missing:
        raise BadFile(f"{file}: line 1: no column {', '.join(missing)}; {','.join(_COLUMNS)} are needed")
    return [
        _Row(
            f"line {table.line_num}",
            {"file": row["photograph"], **{name: row.get(name) for name in ("width", "height", *_OPTIONAL)}},
            (row["name"] or "").strip(),
            [row["x"], row["y"]],
        )
        for row in table
    ]


def _rows_of_json(file: Path, text: str) -> list[_Row]:
    whole = json_of(file, text)
    entries = whole.get("photographs") if isinstance(whole, dict) else None
    if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
        raise BadFile(f"{file}: holds no list of photographs: an object with photographs is expected")
    rows = []
    for number, entry in enumerate(entries, start=1):
        where = f"photograph {number}"
        unknown = [name for name in entry if name not in ("file", "width", "height", "marks", *_OPTIONAL)]
        if unknown:
            raise BadFile(f"{file}: {where}: a photograph has no {unknown[0]!r}")
        marks = entry.get("marks", {})
        if not isinstance(marks, dict):
            raise BadFile(f"{file}: {where}: marks are an object of [x, y] by their names")
        rows.append(_Row(where, entry))
        rows += [_Row(f"{where}, {name}", entry, name.strip(), place) for name, place in marks.items()]
    return rows


_OPTIONAL = ("gaze", "lens", "focal_px", "whole", "cut_at")


def _photograph(file: Path, row: _Row) -> PhotoMarks:
    name = str(row.photograph.get("file") or "").strip()
    if not name:
        raise BadFile(f"{file}: {row.where}: the photograph has no file name")
    size = tuple(_number(file, row, each, 1.0, _LARGEST) for each in ("width", "height"))
    if any(side != int(side) for side in size):
        raise BadFile(f"{file}: {row.where}: width and height are whole pixels")
    focal = _number(file, row, "focal_px", 1.0, _LARGEST) if row.photograph.get("focal_px") else 0.0
    lens = str(row.photograph.get("lens") or "").strip()
    own = int(size[0]), int(size[1])
    return PhotoMarks(name, own, {}, _gaze(file, row), lens, focal, *_cut(file, row, own))


def _cut(file: Path, row: _Row, size: tuple[int, int]) -> tuple[tuple[int, int] | None, tuple[float, float]]:
    """The size of the picture this one was cut out of, None where it is whole, and where it lies in that."""
    written = [row.photograph.get(name) or None for name in ("whole", "cut_at")]
    if written == [None, None]:
        return None, (0.0, 0.0)
    (wide, high), (x, y) = (_pair(each) for each in written)
    if not (x >= 0 and y >= 0 and x + size[0] <= wide <= _LARGEST and y + size[1] <= high <= _LARGEST):
        raise BadFile(
            f"{file}: {row.where}: whole is {written[0]!r} and cut_at {written[1]!r}: give both, the size of the "
            f"larger picture and the place in it where this one of {size[0]} x {size[1]} pixels was cut out"
        )
    return (round(wide), round(high)), (x, y)


def _pair(written: Any) -> tuple[float, float]:
    """Two numbers written as a list or with a space between; not-a-number twice where they are not."""
    words = written.split() if isinstance(written, str) else written
    try:
        first, second = (float(word) for word in words)
    except (TypeError, ValueError):
        return math.nan, math.nan
    return first, second


def _number(file: Path, row: _Row, name: str, low: float, high: float) -> float:
    written = row.photograph.get(name)
    try:
        number = float(written)  # type: ignore[arg-type]
    except (TypeError, ValueError):
        number = math.nan
    if not low <= number <= high or isinstance(written, bool):
        raise BadFile(f"{file}: {row.where}: {name} is {written!r}: give pixels from {low:g} to {high:g}")
    return number


def _gaze(file: Path, row: _Row) -> str | tuple[float, float]:
    written = row.photograph.get("gaze") or AHEAD
    if written in (AHEAD, INTO_CAMERA):
        return str(written)
    across, up = _pair(written)
    if not max(abs(across), abs(up)) <= 60.0:
        raise BadFile(
            f"{file}: {row.where}: gaze is {written!r}: give ahead, camera, or degrees to the sitter's left and up "
            "within 60"
        )
    return across, up


def _named(file: Path, row: _Row, known: PhotoMarks, names: Sequence[str]) -> str:
    if row.name not in (*names, *PUPILS):
        raise BadFile(
            f"{file}: {row.where}: no mark called {row.name!r}: there are {', '.join(PUPILS)} and the landmarks' names"
        )
    if row.name in known.marks:
        raise BadFile(f"{file}: {row.where}: {row.name} is marked twice in {known.file}")
    return row.name


def _pixel(file: Path, row: _Row, photograph: PhotoMarks) -> tuple[float, float]:
    try:
        x, y = (float(value) for value in row.place if isinstance(row.place, list))
    except (TypeError, ValueError):
        raise BadFile(f"{file}: {row.where}: {row.place!r} is no pixel: give x and y") from None
    width, height = photograph.size
    if not (0 <= x <= width and 0 <= y <= height):
        raise BadFile(f"{file}: {row.where}: pixel {x:g}, {y:g} lies outside the {width} x {height} of the picture")
    return x, y


def _entry(each: PhotoMarks) -> dict[str, Any]:
    entry: dict[str, Any] = {"file": each.file, "width": each.size[0], "height": each.size[1]}
    if each.gaze != AHEAD:
        entry["gaze"] = each.gaze if isinstance(each.gaze, str) else list(each.gaze)
    if each.lens:
        entry["lens"] = each.lens
    if each.focal:
        entry["focal_px"] = each.focal
    if each.whole:
        entry |= {"whole": list(each.whole), "cut_at": list(each.cut_at)}
    entry["marks"] = {name: [float(f"{value:.9g}") for value in place] for name, place in each.marks.items()}
    return entry


def _quoted(text: str) -> str:
    return '"' + text.replace('"', '""') + '"' if any(sign in text for sign in ',"') else text
