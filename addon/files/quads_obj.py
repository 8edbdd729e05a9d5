"""OBJ of four-cornered faces with their texture places, groups and picture: base heads in and out."""

from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from ..geometry.errors import BadFile
from .lines import rows_of_text


@dataclass(frozen=True, eq=False)
class QuadsFile:
    """(n, 3) vertices, (m, 4) faces; (k, 2) texture places in the unit square and the faces' (m, 4) corners among them,
    or None for both; and the (m,) name of the group each face is in, "" for none.
    """

    vertices: NDArray[np.float64]
    quads: NDArray[np.int64]
    uv: NDArray[np.float64] | None = None
    uv_quads: NDArray[np.int64] | None = None
    groups: NDArray[np.str_] | None = None


def read_quads(path: str | Path) -> QuadsFile:
    """The faces of an OBJ file.

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
    groups: list[str] = []
    group = ""
    for number, line in enumerate(lines, start=1):
        word, *rest = line.split() or [""]
        try:
            if word == "v":
                vertices.append([float(each) for each in rest[:3]])
            elif word == "vt":
                places.append([float(each) for each in rest[:2]])
            elif word == "g":
                group = " ".join(rest)
            elif word == "f":
                corners.append([_corner(each, len(vertices), len(places)) for each in rest])
                groups.append(group)
        except ValueError:
            raise BadFile(f"{file}: line {number} is no {word} line of an OBJ: {line[:40]!r}") from None
        if word == "f" and len(rest) != 4:
            raise BadFile(f"{file}: line {number}: a face of {len(rest)} corners, but a base is all of four")
    if not corners:
        raise BadFile(f"{file}: holds no faces")
    table = np.array(corners, dtype=np.int64)
    quads, textured = table[..., 0], table[..., 1]
    if not places or (textured < 0).any():
        return QuadsFile(np.array(vertices), quads, groups=np.array(groups))
    return QuadsFile(np.array(vertices), quads, np.array(places), textured, np.array(groups))


def write_quads(file: BinaryIO, base: QuadsFile, picture: str = "", library: BinaryIO | None = None) -> None:
    """Write them as OBJ, millimetres.

    Parameters
    ----------
    file : where to
    base : what is written; groups as `g` lines
    picture : name of the picture that lies over the texture places, "" for none
    library : where the material goes that names it: a file called as the picture is, ending in .mtl
    """
    file.write(b"# millimetres\n")
    if picture and library is not None:
        stem = picture.rpartition(".")[0]
        library.write(f"newmtl skin\nKd 1 1 1\nmap_Kd {picture}\n".encode())
        file.write(f"mtllib {stem}.mtl\nusemtl skin\n".encode())
    for text in rows_of_text("v %.6f %.6f %.6f\n", base.vertices):
        file.write(text)
    rows, form = base.quads + 1, "f %d %d %d %d\n"
    if base.uv is not None and base.uv_quads is not None:
        for text in rows_of_text("vt %.6f %.6f\n", base.uv):
            file.write(text)
        rows = np.stack([base.quads, base.uv_quads], axis=2).reshape(-1, 8) + 1
        form = "f %d/%d %d/%d %d/%d %d/%d\n"
    for name, part in _runs(base.groups, len(rows)):
        if name:
            file.write(f"g {name}\n".encode())
        for text in rows_of_text(form, rows[part]):
            file.write(text)


def _runs(groups: NDArray[np.str_] | None, count: int) -> list[tuple[str, slice]]:
    """The faces in their order, as stretches of one group each."""
    if groups is None:
        return [("", slice(0, count))]
    starts = np.flatnonzero(np.concatenate([[True], groups[1:] != groups[:-1]]))
    ends = np.append(starts[1:], count)
    return [(str(groups[start]), slice(start, end)) for start, end in zip(starts.tolist(), ends.tolist(), strict=True)]


def _corner(word: str, vertices: int, places: int) -> tuple[int, int]:
    """Vertex and texture place of a corner, counted from 0; the place -1 where none is named."""
    vertex, place, *_ = [*word.split("/"), ""]
    row, texture = int(vertex), int(place) if place else 0
    return (row - 1 if row > 0 else vertices + row), (texture - 1 if texture >= 0 else places + texture)
