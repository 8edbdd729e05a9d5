"""A workpiece as arrays and plain facts, and back: for the child process, for files beside a step's output."""

import dataclasses
import json
import zipfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..geometry.cloud import Cloud
from ..geometry.errors import BadFile
from ..geometry.mesh import Mesh
from ..steps.workpiece import Check, Done, Eye, Landmark, Workpiece
from .plain import plain

Arrays = dict[str, NDArray[Any]]
FORMAT = 1


def pack(piece: Workpiece) -> tuple[Arrays, dict[str, Any]]:
    """Take a workpiece apart.

    Parameters
    ----------
    piece : the workpiece, of any kind and stage

    Returns
    -------
    name to array ("head/vertices", "parts/eye-left/triangles", "eyes/0/opening"), and a dictionary of plain
    values that JSON can hold. `unpack` makes the same workpiece of them.
    """
    arrays: Arrays = {"frame": piece.frame}
    shapes = {"scan": piece.scan, "head": piece.head, "skin": piece.skin}
    shapes |= {f"parts/{name}": part for name, part in piece.parts.items()}
    kinds = {}
    for name, shape in shapes.items():
        if shape is not None:
            arrays |= _arrays_of(shape, name)
            kinds[name] = "mesh" if isinstance(shape, Mesh) else "cloud"
    for number, eye in enumerate(piece.eyes):
        if eye.opening is not None:
            arrays[f"eyes/{number}/opening"] = eye.opening
    facts = {
        "format": FORMAT,
        "name": piece.name,
        "scale": piece.scale,
        "shrinkage": piece.shrinkage,
        "units_in": piece.units_in,
        "shapes": kinds,
        "landmarks": {name: dataclasses.asdict(mark) for name, mark in piece.landmarks.items()},
        "eyes": [dataclasses.asdict(dataclasses.replace(eye, opening=None)) for eye in piece.eyes],
        "checks": [dataclasses.asdict(check) for check in piece.checks],
        "notes": piece.notes,
        "figures": piece.figures,
        "history": [dataclasses.asdict(done) for done in piece.history],
    }
    kept: dict[str, Any] = plain(facts)
    return arrays, kept


def unpack(arrays: Mapping[str, NDArray[Any]], facts: Mapping[str, Any]) -> Workpiece:
    """Put a workpiece together again from what `pack` gave.

    Raises
    ------
    BadFile
        The facts were written by a later version, or lack something.
    """
    if facts.get("format") != FORMAT:
        raise BadFile(f"workpiece of format {facts.get('format')}: this version reads format {FORMAT}")
    try:
        shapes = {name: _shape_of(arrays, name, kind) for name, kind in facts["shapes"].items()}
        eyes = tuple(_eye(each, arrays.get(f"eyes/{number}/opening")) for number, each in enumerate(facts["eyes"]))
        return Workpiece(
            name=facts["name"],
            scan=shapes.get("scan"),
            head=_mesh(shapes.get("head")),
            skin=_mesh(shapes.get("skin")),
            landmarks={
                name: Landmark(**{**mark, "position": tuple(mark["position"])})
                for name, mark in facts["landmarks"].items()
            },
            eyes=eyes,
            parts={
                name.removeprefix("parts/"): shape
                for name, shape in shapes.items()
                if name.startswith("parts/") and isinstance(shape, Mesh)
            },
            checks=tuple(_check(each) for each in facts["checks"]),
            scale=facts["scale"],
            shrinkage=facts.get("shrinkage", 0.0),  # an earlier version enlarged the head itself, and nothing since
            units_in=facts["units_in"],
            frame=np.asarray(arrays["frame"], dtype=np.float64),
            notes=tuple(facts["notes"]),
            figures=facts["figures"],
            history=tuple(Done(**each) for each in facts["history"]),
        )
    except (KeyError, TypeError) as error:
        raise BadFile(f"workpiece lacks or misnames {error}: write it again with this version") from None


def save(path: Path, piece: Workpiece) -> None:
    """Write the whole workpiece as one .npz, its facts as JSON text under the name `facts`."""
    arrays, facts = pack(piece)
    save_arrays(path, {"facts": np.frombuffer(json.dumps(facts).encode(), dtype=np.uint8), **arrays})


def load(path: Path) -> Workpiece:
    """The workpiece that `save` wrote. Raises `BadFile` where it is none."""
    arrays = load_arrays(path)
    try:
        facts = json.loads(arrays.pop("facts").tobytes())
    except (ValueError, KeyError) as error:
        raise BadFile(f"{path.name}: not a workpiece ({error})") from None
    return unpack(arrays, facts)


def save_arrays(path: Path, arrays: Arrays) -> None:
    """Write named arrays as .npz under exactly this name."""
    with path.open("wb") as file:  # a file object: savez would add .npz to a bare name
        np.savez(file, **arrays)  # type: ignore[arg-type, unused-ignore]


def load_arrays(path: Path) -> Arrays:
    """The named arrays of an .npz. Raises `BadFile` where it is none."""
    try:
        with path.open("rb") as opened, np.load(opened, allow_pickle=False) as file:
            return {name: file[name] for name in file.files}
    except (OSError, ValueError, EOFError, zipfile.BadZipFile) as error:
        raise BadFile(f"{path.name}: not a workpiece ({error})") from None


def _arrays_of(shape: Cloud | Mesh, name: str) -> Arrays:
    fields = {each.name: getattr(shape, each.name) for each in dataclasses.fields(shape) if each.name != "columns"}
    arrays: Arrays = {f"{name}/{field}": array for field, array in fields.items() if array is not None}
    return arrays | {f"{name}/columns/{column}": np.asarray(values) for column, values in shape.columns.items()}


def _shape_of(arrays: Mapping[str, NDArray[Any]], name: str, kind: str) -> Cloud | Mesh:
    own = {key.removeprefix(f"{name}/"): array for key, array in arrays.items() if key.startswith(f"{name}/")}
    columns = {key.removeprefix("columns/"): own.pop(key) for key in list(own) if key.startswith("columns/")}
    return Mesh(**own, columns=columns) if kind == "mesh" else Cloud(**own, columns=columns)


def _mesh(shape: Cloud | Mesh | None) -> Mesh | None:
    return shape if isinstance(shape, Mesh) else None


def _eye(facts: Mapping[str, Any], opening: NDArray[np.float64] | None) -> Eye:
    places = {name: tuple(facts[name]) for name in ("centre", "gaze", "sources")}
    return Eye(**{**facts, **places, "opening": opening})


def _check(facts: Mapping[str, Any]) -> Check:
    where = facts["where"]
    return Check(**{**facts, "where": where if isinstance(where, str) else tuple(where)})
