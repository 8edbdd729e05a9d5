"""PLY written: binary little-endian, colours, normals, columns, and where the scanner stood."""

from typing import BinaryIO

import numpy as np

from ..geometry.cloud import Cloud
from ..geometry.mesh import Mesh
from .contents import COLOUR, NORMAL, PLACE, SENSOR

NAMES = {
    "i1": "char", "u1": "uchar", "i2": "short", "u2": "ushort", "i4": "int", "u4": "uint",
    "f4": "float", "f8": "double",
}  # fmt: skip
NARROWED = {"i8": "<i4", "u8": "<u4", "b1": "u1", "f2": "<f4"}
"""Kinds PLY has no name for, and what they are written as."""


def write_ply(file: BinaryIO, thing: Cloud | Mesh) -> None:
    """Write points as 32-bit floats with all that belongs to them, then the triangles."""
    vertices = _vertex_table(thing)
    lines = ["ply", "format binary_little_endian 1.0", "comment millimetres", f"element vertex {len(vertices)}"]
    lines += [f"property {NAMES[vertices.dtype[name].str[1:]]} {name}" for name in vertices.dtype.names or ()]
    blocks = [vertices]
    if isinstance(thing, Mesh):
        faces = np.zeros(len(thing.triangles), [("count", "u1"), ("rows", "<i4", 3)])
        faces["count"], faces["rows"] = 3, thing.triangles
        lines += [f"element face {len(faces)}", "property list uchar int vertex_indices"]
        blocks.append(faces)
    elif thing.sensors is not None:
        lines += [f"element camera {len(thing.sensors)}", *(f"property double {name}" for name in SENSOR)]
        blocks.append(np.ascontiguousarray(thing.sensors, "<f8"))
    file.write(("\n".join([*lines, "end_header"]) + "\n").encode("ascii", "replace"))
    for block in blocks:
        file.write(block.data)


def _vertex_table(thing: Cloud | Mesh) -> np.ndarray[tuple[int], np.dtype[np.void]]:
    """One record a point."""
    points = thing.points if isinstance(thing, Cloud) else thing.vertices
    columns = {name: points[:, at].astype("<f4") for at, name in enumerate(PLACE)}
    if isinstance(thing, Cloud) and thing.normals is not None:
        columns.update({name: thing.normals[:, at].astype("<f4") for at, name in enumerate(NORMAL)})
    kept: dict[str, np.ndarray[tuple[int], np.dtype[np.generic]]] = dict(columns)
    if thing.colours is not None:
        kept.update({name: thing.colours[:, at] for at, name in enumerate(COLOUR)})
    for name, values in thing.columns.items():
        kept["_".join(name.split())] = values.astype(NARROWED.get(values.dtype.str[1:], values.dtype.newbyteorder("<")))
    table = np.empty(len(points), [(name, values.dtype) for name, values in kept.items()])
    for name, values in kept.items():
        table[name] = values
    return table
