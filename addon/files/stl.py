"""STL, binary and ASCII: triangles without shared vertices or units, read with equal corners made one vertex."""

from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from ..geometry.errors import BadFile
from ..geometry.mending.welding import distinct
from ..geometry.mesh import Mesh
from .contents import Contents
from .words import numbers_in, shown

RECORD = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
HEADER = 80
FACET = (b"facet", b"outer", b"vertex", b"vertex", b"vertex", b"endloop", b"endfacet")
"""The first words of the seven lines of an ASCII facet."""


def is_text(data: bytes) -> bool:
    """Whether these bytes are an ASCII STL: the length is tested first, as binary ones also begin with "solid"."""
    if len(data) >= HEADER + 4 and len(data) == HEADER + 4 + RECORD.itemsize * _count(data):
        return False
    begins = data[:2048].lstrip().lower()
    return begins.startswith(b"solid") and (b"facet" in begins or b"endsolid" in begins or b"\0" not in begins)


def stl_contents(data: bytes) -> Contents:
    """The triangles of an STL file over welded vertices."""
    corners = _text_corners(data) if is_text(data) else _binary_corners(data)
    bad = ~np.isfinite(corners).all(axis=1)
    if bad.any():
        first = int(np.argmax(bad))
        raise BadFile(f"{int(bad.sum())} of {len(corners)} corners are not numbers, first in triangle {first // 3}")
    firsts, which = distinct(corners)
    points = corners[firsts]
    return Contents({axis: points[:, at] for at, axis in enumerate("xyz")}, which.reshape(-1, 3))


def write_stl(file: BinaryIO, mesh: Mesh) -> None:
    """Write a binary STL: 80 bytes of header, the count, 50 bytes a triangle.

    The header does not begin with "solid"; the attribute word is 0; an empty triangle gets the normal (0, 0, 0).
    """
    records = np.zeros(len(mesh.triangles), RECORD)
    corners = mesh.vertices.astype("<f4")[mesh.triangles]
    records["corners"] = corners
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    lengths = np.linalg.norm(normals, axis=1, keepdims=True)
    records["normal"] = normals / np.where(lengths > 0, lengths, 1)
    file.write(b"binary STL, millimetres".ljust(HEADER, b"\0"))
    file.write(np.uint32(len(records)).astype("<u4").tobytes())
    file.write(records.data)  # not tofile, which does not tell a full disk from any other fault


def _count(data: bytes) -> int:
    return int.from_bytes(data[HEADER : HEADER + 4], "little")


def _binary_corners(data: bytes) -> NDArray[np.float32]:
    """(3 m, 3) corners, three a triangle."""
    if len(data) < HEADER + 4:
        raise BadFile(f"is cut short: {len(data)} bytes, where the header of a binary STL alone has {HEADER + 4}")
    count, body = _count(data), len(data) - HEADER - 4
    if count * RECORD.itemsize != body:
        whole = body // RECORD.itemsize
        fault = "is cut short" if count > whole else "goes on too long"
        raise BadFile(f"{fault}: byte {HEADER} says {count} triangles, the {len(data)} bytes hold {whole}")
    if count == 0:
        raise BadFile("holds no triangles: its count at byte 80 is 0")
    return np.frombuffer(data, RECORD, count, HEADER + 4)["corners"].reshape(-1, 3)


def _text_corners(data: bytes) -> NDArray[np.float32]:
    """(3 m, 3) corners of an ASCII STL, its lines checked one by one for their order."""
    lines = data.splitlines()
    vertices: list[bytes] = []
    numbers: list[int] = []
    at, inside, closed = 0, False, False
    for number, line in enumerate(lines, start=1):
        words = line.split(None, 1)
        if not words:
            continue
        word = words[0].lower()
        if inside and word == FACET[at]:
            if word == b"vertex":
                vertices.append(words[1] if len(words) > 1 else b"?")
                numbers.append(number)
            at = (at + 1) % len(FACET)
        elif word == (b"endsolid" if inside else b"solid") and at == 0:
            inside, closed = not inside, inside
        else:
            expected = FACET[at].decode() if inside else "solid"
            raise BadFile(f"line {number}: {shown(word.decode('latin-1'))} where {expected!r} belongs")
    if inside or not closed:
        raise BadFile(f"is cut short: it ends at line {len(lines)} without endsolid")
    if not vertices:
        raise BadFile("holds no triangles: there is no facet between solid and endsolid")
    return numbers_in(vertices, lambda row: numbers[row], width=3).astype(np.float32)
