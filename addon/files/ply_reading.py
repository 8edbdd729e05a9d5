"""PLY: clouds and meshes, ASCII and both binary orders."""

import numpy as np
from numpy.typing import NDArray

from ..geometry.errors import BadFile
from ..geometry.solids.polygons import triangulated
from .contents import PLACE, SENSOR, Columns, Contents
from .ply_body import Records, records_of
from .ply_header import Header, header_of

INDEX_NAMES = ("vertex_indices", "vertex_index")


def ply_contents(data: bytes) -> Contents:
    """What a PLY file holds: the `vertex` element, the triangles of `face`, and where the scanner stood.

    Other elements are passed over. Polygons are cut into triangles; faces of fewer than three corners are left out.
    """
    header = header_of(data)
    _check_vertex(header)
    records = records_of(data, header)
    columns = records["vertex"].columns
    faces = records.get("face")
    triangles = None
    if faces is not None and any(element.name == "face" and element.count for element in header.elements):
        triangles = _triangles(faces, columns)
    elif "tristrips" in records:
        raise BadFile("holds triangle strips instead of faces: export it with plain faces")
    return Contents(columns, triangles, _sensors(records))


def _check_vertex(header: Header) -> None:
    """Refuse a header without vertices or without their coordinates."""
    vertex = next((element for element in header.elements if element.name == "vertex"), None)
    if vertex is None:
        raise BadFile("the PLY header declares no vertex element")
    single = [each.name for each in vertex.properties if not each.count_type]
    lacking = [axis for axis in PLACE if axis not in single]
    if lacking:
        raise BadFile(f"the PLY vertices have no property {' and no '.join(lacking)}")
    if vertex.count == 0:
        raise BadFile("holds no points: its header declares 0 vertices")


def _triangles(faces: Records, columns: Columns) -> NDArray[np.int64]:
    """(m, 3) rows of the vertices."""
    name = next((name for name in INDEX_NAMES if name in faces.lists), None)
    if name is None:
        raise BadFile("the PLY faces have no list vertex_indices")
    points = np.column_stack([np.asarray(columns[axis], dtype=np.float64) for axis in PLACE])
    found = []
    for block in faces.lists[name]:
        if block.dtype.kind == "f":
            raise BadFile("the PLY faces name their vertices in floating-point numbers")
        corners = np.asarray(block, dtype=np.int64)
        outside = ((corners < 0) | (corners >= len(points))).any(axis=1)
        if outside.any():
            first = int(np.argmax(outside))
            row = corners[first]
            named = row[(row < 0) | (row >= len(points))][0]
            which = f"face {first}" if len(faces.lists[name]) == 1 else f"a face of {len(row)} corners"
            raise BadFile(f"{which} names vertex {named}, but vertices run from 0 to {len(points) - 1}")
        if corners.shape[1] >= 3:
            found.append(triangulated(points, corners))
    return np.concatenate(found).astype(np.int64) if found else np.zeros((0, 3), np.int64)


def _sensors(records: dict[str, Records]) -> NDArray[np.float64] | None:
    """Scanner positions from `camera` records, where the vertices say by `view` which camera saw each."""
    cameras, views = records.get("camera"), records["vertex"].columns.get("view")
    if cameras is None or views is None or not all(name in cameras.columns for name in SENSOR):
        return None
    places = np.column_stack([np.asarray(cameras.columns[name], dtype=np.float64) for name in SENSOR])
    known = len(views) > 0 and np.asarray(views).min() >= 0 and np.asarray(views).max() < len(places)
    return places if known and np.isfinite(places).all() else None
