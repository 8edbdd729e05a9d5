"""One step's result on disk: the file that was asked for, and beside it what a file of points cannot hold.

`head.ply` gets `head.canthus.json` (landmarks, eyes, scale, notes, history), `head.canthus.npz` (the arrays they go
with: the scan, the uncut skin, lid margins) and one file a part, `head.eye-left.ply`. The next step reads them back;
landmarks may be moved by hand in the .json between two steps.
"""

import json
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from ..anatomy.face.units import unit_factor
from ..files.reading import read, reading_of
from ..files.writing import SUFFIXES, write
from ..geometry.cloud import Cloud, joined
from ..geometry.clouds.normals import vertex_normals
from ..geometry.errors import BadFile, NotReady
from ..geometry.measures import is_watertight
from ..geometry.mesh import Mesh
from ..steps.workpiece import Workpiece
from .recipe import fingerprint
from .staging import staged
from .store import Arrays, load_arrays, pack, save_arrays, unpack


def piece_in(paths: Sequence[Path], units: str = "mm") -> Workpiece:
    """The workpiece of one file and what lies beside it, or of several passes.

    Parameters
    ----------
    paths : scans or meshes; several are passes of one head and become one cloud
    units : what the numbers in the files are in; a file with a workpiece beside it is in millimetres already

    Raises
    ------
    BadFile
        A file cannot be read as what it says it is.
    BadSetting
        An unknown unit.
    """
    found = _read_beside(paths[0]) if len(paths) == 1 else None
    if found is not None:
        return found
    factor = unit_factor(units)
    piece = scanned(paths).but(units_in=units).moved(np.diag([factor, factor, factor, 1.0]))
    if isinstance(piece.scan, Mesh) and is_watertight(piece.scan):
        return piece.but(head=piece.scan, skin=piece.scan)
    return piece


def scanned(paths: Sequence[Path]) -> Workpiece:
    """A workpiece with what the files hold, in their own unit; several passes as one cloud.

    What was left out in reading (polygons cut into triangles, unknown columns) is noted.
    """
    readings = [reading_of(path) for path in paths]
    notes = tuple(f"{path.name}: {remark}" for path, each in zip(paths, readings, strict=True) for remark in each.notes)
    shapes = [each.thing for each in readings]
    scan = shapes[0] if len(shapes) == 1 else joined([_as_one_pass(shape) for shape in shapes])
    return Workpiece(name=paths[0].stem, scan=scan, notes=notes)


def refuse_unwritable(path: Path, overwrite: bool = False) -> None:
    """Say at once, not after the work, that a file's ending names no format, or that it is there. Raises `BadFile`."""
    if path.suffix.lower() not in SUFFIXES:
        raise BadFile(f"{path}: Canthus writes {', '.join(SUFFIXES)}, not {path.suffix or 'a name without an ending'}")
    if path.exists() and not overwrite:
        raise BadFile(f"{path} is there already: name another file, or say --overwrite")


def write_out(path: Path, before: Workpiece, after: Workpiece) -> list[Path]:
    """Write a step's result under `path`, and the rest of the workpiece beside it.

    Parameters
    ----------
    path : the file asked for; its suffix says the format
    before, after : the workpiece before and after the step. The file holds what the step changed: the head where
        it changed the head, else the scan.

    Returns
    -------
    The files written. All of them or, where something fails, none.
    """
    main = _main(before, after)
    shape = getattr(after, main)
    with staged(path.parent) as waiting:
        write(waiting / path.name, shape)
        for name, part in after.parts.items():
            write(waiting / f"{path.stem}.{name}{path.suffix}", part)
        arrays, facts = pack(after)
        if list(facts["shapes"]) == [main] and _holds(waiting / path.name, main, arrays):
            arrays = {name: array for name, array in arrays.items() if not name.startswith(f"{main}/")}
        beside = {"file": path.name, "sha256": fingerprint(waiting / path.name), "main": main, **facts}
        (waiting / _facts_path(path).name).write_text(json.dumps(beside, indent=1), encoding="utf-8")
        save_arrays(waiting / _arrays_path(path).name, arrays)
        names = sorted(each.name for each in waiting.iterdir())
    return [path.parent / name for name in names]


def _holds(path: Path, main: str, arrays: Arrays) -> bool:
    """Whether the file itself holds the shape to the last bit; a coordinate of 32 bits may be rounded."""
    held, _ = pack(Workpiece().but(**{main: read(path)}))
    there = {name for name in held if name.startswith(f"{main}/")}
    if there != {name for name in arrays if name.startswith(f"{main}/")}:
        return False
    return all(held[name].dtype == arrays[name].dtype and np.array_equal(held[name], arrays[name]) for name in there)


def _as_one_pass(shape: Cloud | Mesh) -> Cloud:
    """The points as one pass, whatever views it was put together from: a pass moves as a whole."""
    if isinstance(shape, Mesh):
        return Cloud(shape.vertices, vertex_normals(shape), shape.colours)
    if len(np.unique(shape.columns.get("view", ()))) <= 1:
        return shape
    columns = {name: values for name, values in shape.columns.items() if name != "view"}
    return Cloud(shape.points, shape.normals, shape.colours, columns)


def _main(before: Workpiece, after: Workpiece) -> str:
    """Which of the shapes the step's file holds: "head" or "scan"."""
    for name in ("head", "scan"):
        if getattr(after, name) is not None and getattr(after, name) is not getattr(before, name):
            return name
    if after.head is None and after.scan is None:
        raise NotReady("there is nothing to write: neither a scan nor a head")
    return "scan" if after.head is None else "head"


def _read_beside(path: Path) -> Workpiece | None:
    """The workpiece written with this file; None where nothing lies beside it or it belongs to another file."""
    if not _facts_path(path).exists():
        return None
    try:
        facts = json.loads(_facts_path(path).read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise BadFile(f"{_facts_path(path).name}: {error}: mend it or remove it") from None
    if facts.get("file") != path.name:
        return None
    arrays, main = load_arrays(_arrays_path(path)), facts.get("main", "head")
    changed = fingerprint(path) != facts.get("sha256")
    if not changed and any(name.startswith(f"{main}/") for name in arrays):
        return unpack(arrays, facts)
    piece = unpack(arrays, {**facts, "shapes": {name: kind for name, kind in facts["shapes"].items() if name != main}})
    piece = piece.but(**{main: read(path)})
    if changed:
        piece = piece.noted(f"{path.name} was changed after its step wrote it; what lies beside it is kept")
    return piece


def _facts_path(path: Path) -> Path:
    return path.with_name(f"{path.stem}.canthus.json")


def _arrays_path(path: Path) -> Path:
    return path.with_name(f"{path.stem}.canthus.npz")
