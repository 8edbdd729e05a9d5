"""3MF read back: the objects of a build, in millimetres (3MF Core Specification 1.4.0, 3MF Consortium 2025)."""

import io
import zipfile
import zlib
from dataclasses import dataclass, field
from xml.parsers import expat

import numpy as np
from numpy.typing import NDArray

from ..geometry.errors import BadFile
from ..geometry.mesh import Mesh
from .contents import Contents

CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
START = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
MILLIMETRES = {
    "micron": 0.001, "millimeter": 1.0, "centimeter": 10.0, "inch": 25.4, "foot": 304.8, "meter": 1000.0,
}  # fmt: skip
LARGEST = 2 << 30
"""Bytes a part may unpack to: 2 GB is a model of some 20 million triangles; more is a trap or a mistake."""
DEEPEST = 16
"""Components within components; deeper nesting is a loop or no model of a head."""


@dataclass
class _Object:
    """One object as it is being read: coordinates and rows as flat lists, components as (id, transform)."""

    name: str = ""
    coordinates: list[float] = field(default_factory=list)
    rows: list[int] = field(default_factory=list)
    components: list[tuple[str, NDArray[np.float64]]] = field(default_factory=list)


@dataclass
class _Model:
    """A model part as it is being read."""

    unit: str = "millimeter"
    objects: dict[str, _Object] = field(default_factory=dict)
    items: list[tuple[str, NDArray[np.float64]]] = field(default_factory=list)
    current: _Object | None = None


def threemf_contents(data: bytes) -> Contents:
    """All that is built, as one mesh in millimetres, each item where the build puts it."""
    model = _model_of(data)
    meshes = [_placed(model, name, transform, 0) for name, transform in model.items]
    if not meshes:
        raise BadFile("the 3MF builds nothing: it has no item")
    counts = np.cumsum([0, *(len(mesh.vertices) for mesh in meshes)])
    points = np.concatenate([mesh.vertices for mesh in meshes])
    triangles = np.concatenate([mesh.triangles + start for mesh, start in zip(meshes, counts, strict=False)])
    return Contents({axis: points[:, at] for at, axis in enumerate("xyz")}, triangles.astype(np.int64))


def threemf_objects(data: bytes) -> dict[str, Mesh]:
    """The objects by name ("object 3" where there is none), in millimetres, in their own coordinates."""
    model = _model_of(data)
    identity = np.eye(4)
    return {each.name or f"object {key}": _placed(model, key, identity, 0) for key, each in model.objects.items()}


def _model_of(data: bytes) -> _Model:
    """The model part the package starts from, read."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as package:
            names = {name.lower(): name for name in package.namelist()}
            start = _start(_member(package, names, "_rels/.rels"))
            return _parsed(_member(package, names, start.lstrip("/").lower()), start)
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, ValueError, OSError) as fault:
        raise BadFile(f"its zip archive is damaged: {fault}") from None


def _member(package: zipfile.ZipFile, names: dict[str, str], name: str) -> bytes:
    """The bytes of one part, refused before unpacking if they are too many."""
    if name not in names:
        raise BadFile(f"the 3MF has no part {name}")
    entry = package.getinfo(names[name])
    if entry.file_size > LARGEST:
        raise BadFile(f"part {name} would unpack to {entry.file_size:,} bytes, more than {LARGEST:,}")
    with package.open(entry) as stream:
        return stream.read(entry.file_size + 1)


def _start(relations: bytes) -> str:
    """The model part named by the package's relations."""
    found: list[str] = []

    def opened(_name: str, given: dict[str, str]) -> None:
        if given.get("Type") == START:
            found.append(given.get("Target", ""))

    _parse(relations, "_rels/.rels", opened, lambda _name: None)
    if not found:
        raise BadFile("the 3MF names no model part to start from")
    return found[0]


def _parsed(content: bytes, part: str) -> _Model:
    model = _Model()

    def opened(name: str, given: dict[str, str]) -> None:
        try:
            _READ.get(name.rpartition(" ")[2], _passed_over)(model, given)
        except KeyError as absent:
            raise ValueError(f"{name.rpartition(' ')[2]} has no {absent.args[0]}") from None

    def closed(name: str) -> None:
        if name.endswith(" object"):
            model.current = None

    _parse(content, part, opened, closed)
    return model


def _parse(content: bytes, part: str, opened: object, closed: object) -> None:
    """Run the parser; document types (and so entities) are refused, faults are given their line."""
    parser = expat.ParserCreate(namespace_separator=" ")

    def refused(*_declaration: object) -> None:
        raise ValueError("declares a document type, which 3MF forbids")

    parser.StartDoctypeDeclHandler = refused
    parser.StartElementHandler = opened  # type: ignore[assignment]
    parser.EndElementHandler = closed  # type: ignore[assignment]
    try:
        parser.Parse(content, True)
    except expat.ExpatError as fault:
        raise BadFile(f"part {part} is no XML: {expat.ErrorString(fault.code)} at line {fault.lineno}") from None
    except ValueError as fault:
        raise BadFile(f"part {part}, line {parser.CurrentLineNumber}: {fault}") from None


def _passed_over(_model: _Model, _given: dict[str, str]) -> None:
    return


def _read_model(model: _Model, given: dict[str, str]) -> None:
    model.unit = given.get("unit", "millimeter")
    if model.unit not in MILLIMETRES:
        raise ValueError(f"unit {model.unit[:30]!r} is none of {', '.join(MILLIMETRES)}")


def _read_object(model: _Model, given: dict[str, str]) -> None:
    model.current = model.objects[given["id"]] = _Object(given.get("name", ""))


def _needed(model: _Model) -> _Object:
    if model.current is None:
        raise ValueError("a mesh stands outside any object")
    return model.current


def _read_vertex(model: _Model, given: dict[str, str]) -> None:
    _needed(model).coordinates += (float(given["x"]), float(given["y"]), float(given["z"]))


def _read_triangle(model: _Model, given: dict[str, str]) -> None:
    _needed(model).rows += (int(given["v1"]), int(given["v2"]), int(given["v3"]))


def _read_component(model: _Model, given: dict[str, str]) -> None:
    _needed(model).components.append((given["objectid"], _transform(given)))


def _read_item(model: _Model, given: dict[str, str]) -> None:
    model.items.append((given["objectid"], _transform(given)))


_READ = {
    "model": _read_model,
    "object": _read_object,
    "vertex": _read_vertex,
    "triangle": _read_triangle,
    "component": _read_component,
    "item": _read_item,
}


def _transform(given: dict[str, str]) -> NDArray[np.float64]:
    """(4, 4) matrix for columns, from the twelve numbers 3MF writes for rows."""
    matrix = np.eye(4)
    if "transform" in given:
        numbers = [float(word) for word in given["transform"].split()]
        if len(numbers) != 12:
            raise ValueError(f"a transform has {len(numbers)} numbers instead of 12")
        matrix[:3] = np.array(numbers).reshape(4, 3).T
    return matrix


def _placed(model: _Model, key: str, transform: NDArray[np.float64], depth: int) -> Mesh:
    """The object's mesh and components in millimetres under a transform in the model's unit."""
    if key not in model.objects:
        raise BadFile(f"the 3MF asks for object {key[:20]!r}, which it does not hold")
    if depth > DEEPEST:
        raise BadFile(f"the components of 3MF object {key} nest more than {DEEPEST} deep")
    each = model.objects[key]
    if not each.components:
        vertices = np.array(each.coordinates).reshape(-1, 3)
        if len(vertices) == 0:
            raise BadFile(f"3MF object {each.name or key} holds no vertices")
        matrix = transform.copy()
        matrix[:3] *= MILLIMETRES[model.unit]
        return Mesh(vertices, np.array(each.rows).reshape(-1, 3)).moved(matrix)
    meshes = [_placed(model, part, transform @ inner, depth + 1) for part, inner in each.components]
    starts = np.cumsum([0, *(len(mesh.vertices) for mesh in meshes)])
    return Mesh(
        np.concatenate([mesh.vertices for mesh in meshes]),
        np.concatenate([mesh.triangles + start for mesh, start in zip(meshes, starts, strict=False)]),
    )
