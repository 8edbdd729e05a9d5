"""OBJ: vertices, polygons and vertex colours; normals, texture places, groups and materials are passed over."""

import re
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from ..geometry.cloud import Cloud
from ..geometry.errors import BadFile
from ..geometry.mesh import Mesh
from ..geometry.solids.polygons import triangulated
from .contents import COLOUR, NORMAL, PLACE, Columns, Contents
from .lines import rows_of_text
from .words import numbers_in, shown

PASSED_OVER = frozenset(
    b"vt vp g o s l p usemtl mtllib usemap maplib mg bevel c_interp d_interp lod shadow_obj trace_obj "
    b"cstype deg bmat step curv curv2 surf parm trim hole scrv sp end con".split()
)


def obj_contents(data: bytes) -> Contents:
    """What an OBJ file holds. Indices count from 1, negative ones back from the last vertex before them."""
    if b"\\" in data:
        data = re.sub(rb"\\\r?\n", b" ", data)
    kinds = _sorted_lines(data.splitlines())
    vertices, numbers = kinds["v"]
    if not vertices:
        raise BadFile("holds no points: there is no line that begins with v")
    columns = _columns(vertices, numbers)
    points = np.column_stack([columns[axis] for axis in PLACE])
    faces, face_numbers = kinds["f"]
    if faces:
        return Contents(columns, _triangles(faces, face_numbers, numbers, points))
    normals, normal_numbers = kinds["vn"]
    if len(normals) == len(vertices):
        table = numbers_in(normals, lambda row: normal_numbers[row], width=3)
        columns = {**columns, **{name: table[:, at] for at, name in enumerate(NORMAL)}}
    return Contents(columns)


def write_obj(file: BinaryIO, thing: Mesh | Cloud) -> None:
    """Write vertices (with colours from 0 to 1 after them, where there are any) and triangles."""
    points = thing.vertices if isinstance(thing, Mesh) else thing.points
    table = points if thing.colours is None else np.hstack([points, thing.colours / 255.0])
    file.write(b"# millimetres\n")
    row = "v %.9g %.9g %.9g\n" if thing.colours is None else "v %.9g %.9g %.9g %.6g %.6g %.6g\n"
    for text in rows_of_text(row, table):
        file.write(text)
    if isinstance(thing, Mesh):
        for text in rows_of_text("f %d %d %d\n", thing.triangles + 1):
            file.write(text)
    elif thing.normals is not None:
        for text in rows_of_text("vn %.6g %.6g %.6g\n", thing.normals):
            file.write(text)


def _sorted_lines(lines: list[bytes]) -> dict[str, tuple[list[bytes], list[int]]]:
    """What follows the words v, vn and f, with the line numbers; refuses words no OBJ has."""
    kinds: dict[bytes, tuple[list[bytes], list[int]]] = {b"v": ([], []), b"vn": ([], []), b"f": ([], [])}
    for number, line in enumerate(lines, start=1):
        words = line.split(None, 1)
        if not words or words[0].startswith(b"#"):
            continue
        found = kinds.get(words[0])
        if found is not None:
            found[0].append(words[1] if len(words) > 1 else b"?")
            found[1].append(number)
        elif words[0] not in PASSED_OVER:
            raise BadFile(f"line {number}: {shown(words[0].decode('latin-1'))} is no OBJ word")
    return {word.decode(): found for word, found in kinds.items()}


def _columns(vertices: list[bytes], numbers: list[int]) -> Columns:
    """Places, and colours where each line has them: 3 numbers, 4 (the last a weight, passed over), 6 or 7."""
    table = numbers_in(vertices, lambda row: numbers[row])
    if table.shape[1] not in (3, 4, 6, 7):
        raise BadFile(f"line {numbers[0]} holds {table.shape[1]} numbers where 3, or 6 with colours, belong")
    names = (*PLACE, *(COLOUR if table.shape[1] >= 6 else ()))
    return {name: table[:, at] for at, name in enumerate(names)}


def _triangles(
    faces: list[bytes], numbers: list[int], vertex_numbers: list[int], points: NDArray[np.float64]
) -> NDArray[np.int64]:
    """(m, 3) rows of the vertices: faces of one corner count are read together."""
    if any(b"/" in face for face in faces):
        faces = re.sub(rb"/[^ \t\n]*", b"", b"\n".join(faces)).split(b"\n")
    by_corners: dict[int, list[int]] = {}
    for row, face in enumerate(faces):
        by_corners.setdefault(len(face.split()), []).append(row)
    found = []
    for corners, rows in sorted(by_corners.items()):
        lines = np.array(numbers)[rows]
        if corners < 3:
            raise BadFile(f"line {lines[0]}: a face of {corners} corners")
        table = numbers_in([faces[row] for row in rows], lambda row, lines=lines: int(lines[row]))  # type: ignore[misc]
        indices = _counted_from_zero(table, lines, np.array(vertex_numbers))
        found.append(triangulated(points, indices))
    return np.concatenate(found).astype(np.int64)


def _counted_from_zero(
    table: NDArray[np.float64], lines: NDArray[np.int64], vertex_lines: NDArray[np.int64]
) -> NDArray[np.int64]:
    """Rows of the vertices: 1 becomes 0, and -1 the last vertex that stands before the face."""
    indices = table.astype(np.int64)
    count = len(vertex_lines)
    bad = (table != indices) | (indices == 0) | (indices > count)
    negative = indices < 0
    if negative.any():
        before = np.searchsorted(vertex_lines, lines)[:, None]
        indices = np.where(negative, before + indices, indices - 1)
        bad |= indices < 0
    else:
        indices = indices - 1
    if bad.any():
        row = int(np.argmax(bad.any(axis=1)))
        word = table[row][bad[row]][0]
        raise BadFile(f"line {lines[row]}: the face names vertex {word:g}, but vertices run from 1 to {count}")
    return indices
