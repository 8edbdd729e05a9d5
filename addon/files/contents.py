"""What a file held, before it becomes a cloud or a mesh: columns of numbers, and triangles over their rows."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..geometry.cloud import Cloud
from ..geometry.errors import BadFile
from ..geometry.mesh import Mesh

Columns = Mapping[str, NDArray[Any]]

PLACE = ("x", "y", "z")
NORMAL = ("nx", "ny", "nz")
COLOUR = ("red", "green", "blue")
OTHER_NAMES = {
    "normal_x": "nx", "normal_y": "ny", "normal_z": "nz",
    "r": "red", "g": "green", "b": "blue",
    "diffuse_red": "red", "diffuse_green": "green", "diffuse_blue": "blue",
}  # fmt: skip
SENSOR = ("view_px", "view_py", "view_pz")

MISSING_SHARE = 0.01
"""Largest share of points a scanner may mark as missing (all three coordinates NaN) before the file is refused."""
FARTHEST = 1e9
"""Coordinates beyond this are in no unit of length a head is measured in (a head in nanometres reaches 2e8)."""


@dataclass(frozen=True)
class Contents:
    """`columns` hold one value a point, by name (x, y, z, nx, red, quality ...); `triangles` rows of them or None.

    `sensors` are where the scanner stood.
    """

    columns: Columns
    triangles: NDArray[np.integer[Any]] | None = None
    sensors: NDArray[np.float64] | None = None


@dataclass(frozen=True)
class Reading:
    """What was read: the cloud or mesh, the format it was in, and sentences on what was left out or taken to mean."""

    thing: Cloud | Mesh
    format: str
    notes: tuple[str, ...] = field(default=())


def understood(contents: Contents, file_format: str) -> Reading:
    """The cloud, or the mesh where there are triangles, that these columns mean. Raises `BadFile` for a senseless one.

    Points whose three coordinates are all NaN are what scanners write where they saw nothing: they are left out, and
    noted, as long as they are few and no triangle uses them. Any other coordinate that is not finite is refused.
    """
    columns = {OTHER_NAMES.get(name, name): values for name, values in contents.columns.items()}
    points = np.empty((len(columns["x"]), 3))
    for at, axis in enumerate(PLACE):
        points[:, at] = columns.pop(axis)
    if len(points) == 0:
        raise BadFile("holds no points")
    missing = _missing(points, contents.triangles)
    notes: list[str] = []
    colours = _colours(columns)
    normals = _normals(columns, missing, notes)
    triangles = None if contents.triangles is None else np.asarray(contents.triangles, dtype=np.int64)
    if missing.any():
        notes.append(f"{int(missing.sum())} points marked as missing (NaN) were left out")
        points, columns = points[~missing], {name: values[~missing] for name, values in columns.items()}
        colours = None if colours is None else colours[~missing]
        normals = None if normals is None else normals[~missing]
        triangles = None if triangles is None else (np.cumsum(~missing) - 1)[triangles]
    if (points[-1] == points[0]).all() and (points == points[0]).all():
        raise BadFile("holds nothing but one place: every point has the same coordinates")
    if triangles is None:
        return Reading(Cloud(points, normals, colours, columns, contents.sensors), file_format, tuple(notes))
    return Reading(Mesh(points, _sound(points, triangles, notes), colours, columns), file_format, tuple(notes))


def _missing(points: NDArray[np.float64], triangles: NDArray[np.integer[Any]] | None) -> NDArray[np.bool_]:
    """Mask of the points marked as missing; refuses other faults in the coordinates."""
    if points.min() >= -FARTHEST and points.max() <= FARTHEST:  # false where there is a NaN
        return np.zeros(len(points), bool)
    absent: NDArray[np.bool_] = np.isnan(points).all(axis=1)
    bad = ~np.isfinite(points).all(axis=1)
    used = absent.copy()
    if triangles is not None and absent.any():
        used[:] = False
        used[np.asarray(triangles).ravel()] = True
        used &= absent
    elif absent.sum() <= MISSING_SHARE * len(points):
        used[:] = False
    if (bad & ~absent).any() or used.any():
        first = int(np.argmax(bad))
        words = ", ".join(f"{value:g}" for value in points[first])
        raise BadFile(f"{int(bad.sum())} of {len(points)} points are not numbers, first point {first} ({words})")
    far = np.abs(np.where(bad[:, None], 0.0, points)).max(axis=1) > FARTHEST
    if far.any():
        first = int(np.argmax(far))
        words = ", ".join(f"{value:g}" for value in points[first])
        raise BadFile(f"point {first} lies at ({words}), beyond any unit of length: the file is damaged")
    return absent


def _colours(columns: dict[str, NDArray[Any]]) -> NDArray[np.uint8] | None:
    """The colour columns, taken out of `columns`, as 8-bit sRGB."""
    if not all(name in columns for name in COLOUR):
        return None
    colours = np.column_stack([columns.pop(name) for name in COLOUR])
    if colours.dtype == np.uint8:
        return np.asarray(colours, np.uint8)
    values = np.nan_to_num(np.asarray(colours, dtype=np.float64))
    if colours.dtype == np.uint16:
        values = values / 257.0
    elif colours.dtype.kind == "f" and values.max(initial=0.0) <= 1.0:
        values = values * 255.0
    return np.asarray(np.clip(np.rint(values), 0, 255), dtype=np.uint8)


def _normals(
    columns: dict[str, NDArray[Any]], missing: NDArray[np.bool_], notes: list[str]
) -> NDArray[np.float64] | None:
    """The normal columns, taken out of `columns`, at unit length; none at all if some have no direction."""
    if not all(name in columns for name in NORMAL):
        return None
    normals = np.column_stack([np.asarray(columns.pop(name), dtype=np.float64) for name in NORMAL])
    lengths = np.linalg.norm(normals, axis=1)
    useless = ~(np.isfinite(lengths) & (lengths > 1e-12))
    if (useless & ~missing).any():
        notes.append(f"the normals were left out: {int((useless & ~missing).sum())} of them have no direction")
        return None
    return np.asarray(normals / np.where(useless, 1.0, lengths)[:, None])


def _sound(points: NDArray[np.float64], triangles: NDArray[np.int64], notes: list[str]) -> NDArray[np.int32]:
    """The triangles without those that name one vertex twice. Refuses bad indices and a mesh without area."""
    if len(triangles) == 0:
        raise BadFile("holds no triangles")
    outside = ((triangles < 0) | (triangles >= len(points))).any(axis=1)
    if outside.any():
        first = int(np.argmax(outside))
        named = triangles[first][(triangles[first] < 0) | (triangles[first] >= len(points))][0]
        raise BadFile(f"triangle {first} names vertex {named}, but vertices run from 0 to {len(points) - 1}")
    a, b, c = triangles.T
    whole = (a != b) & (b != c) & (c != a)
    if not _has_area(points, triangles[whole][:1000]) and not _has_area(points, triangles[whole]):
        raise BadFile(f"none of its {len(triangles)} triangles has an area")
    if not whole.all():
        notes.append(f"{int((~whole).sum())} triangles that use one vertex twice were left out")
    return np.asarray(triangles[whole], np.int32)


def _has_area(points: NDArray[np.float64], triangles: NDArray[np.int64]) -> bool:
    """Whether one of these triangles has an area."""
    corners = points[triangles]
    return bool(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]).any())
