"""OBJ of four-cornered faces with their texture places: base heads in and out."""

from pathlib import Path
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from ..geometry.errors import BadFile
from .lines import rows_of_text

Quads = tuple[NDArray[np.float64], NDArray[np.int64], NDArray[np.float64] | None, NDArray[np.int64] | None]


def read_quads(path: str | Path) -> Quads:
    """Vertices (n, 3), faces (m, 4), and texture places (k, 2) with the faces' corners among them, or None twice.

    Raises
    ------
    BadFile
        Not readable, or a face that has not four corners; with the line.
    """
    file = Path(path)
    try:
        lines = file.read_text(encoding="utf-8", errors="replace").splitlines()
    except OSError as error:
        raise BadFile(f"{file}: cannot be read: {error.strerror or error}") from None
    vertices: list[list[float]] = []
    places: list[list[float]] = []
    corners: list[list[tuple[int, int]]] = []
    for number, line in enumerate(lines, start=1):
        word, *rest = line.split() or [""]
        try:
            if word == "v":
                vertices.append([float(each) for each in rest[:3]])
            elif word == "vt":
                places.append([float(each) for each in rest[:2]])
            elif word == "f":
                corners.append([_corner(each, len(vertices), len(places)) for each in rest])
        except ValueError:
            raise BadFile(f"{file}: line {number} is no {word} line of an OBJ: {line[:40]!r}") from None
        if word == "f" and len(rest) != 4:
            raise BadFile(f"{file}: line {number}: a face of {len(rest)} corners, but a base is all of four")
    if not corners:
        raise BadFile(f"{file}: holds no faces")
    table = np.array(corners, dtype=np.int64)
    quads, textured = table[..., 0], table[..., 1]
    if not places or (textured < 0).any():
        return np.array(vertices), quads, None, None
    return np.array(vertices), quads, np.array(places), textured


def write_quads(
    file: BinaryIO,
    vertices: NDArray[np.float64],
    quads: NDArray[np.int64],
    uv: NDArray[np.float64] | None,
    uv_quads: NDArray[np.int64] | None,
) -> None:
    """Write them as OBJ, millimetres.

    Parameters
    ----------
    file : where to
    vertices, quads : (n, 3) and (m, 4)
    uv, uv_quads : (k, 2) places in the unit square and the faces' (m, 4) corners among them, or None for both
    """
    file.write(b"# millimetres\n")
    for text in rows_of_text("v %.6f %.6f %.6f\n", vertices):
        file.write(text)
    if uv is None or uv_quads is None:
        for text in rows_of_text("f %d %d %d %d\n", quads + 1):
            file.write(text)
        return
    for text in rows_of_text("vt %.6f %.6f\n", uv):
        file.write(text)
    both = np.stack([quads, uv_quads], axis=2).reshape(-1, 8) + 1
    for text in rows_of_text("f %d/%d %d/%d %d/%d %d/%d\n", both):
        file.write(text)


def _corner(word: str, vertices: int, places: int) -> tuple[int, int]:
    """Vertex and texture place of a corner, counted from 0; the place -1 where none is named."""
    vertex, place, *_ = [*word.split("/"), ""]
    row, texture = int(vertex), int(place) if place else 0
    return (row - 1 if row > 0 else vertices + row), (texture - 1 if texture >= 0 else places + texture)
