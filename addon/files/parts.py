"""The parts of a head as they leave the house: checked, then written all together or not at all."""

from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from pathlib import Path

import numpy as np

from ..geometry.errors import BadFile, BadMesh, BadSetting
from ..geometry.measures import is_watertight, needs_closed, volume
from ..geometry.mending.welding import welded
from ..geometry.mesh import Mesh
from ..geometry.solids.settle import settled
from .writing import whole_file, write_into

FORMATS = ("stl", "3mf", "ply")


def ready_for_files(name: str, part: Mesh) -> Mesh:
    """The part on the 32-bit coordinates files hold, closed with outward normals even after a reader welds it.

    Raises
    ------
    BadMesh
        It is not closed, or inside out, or cannot be kept closed in 32-bit coordinates.
    """
    needs_closed(part, f"part {name}")
    if volume(part) <= 0:
        raise BadMesh(f"part {name} is inside out: its volume is {volume(part):.3f} mm³; turn its normals outward")
    rounded = Mesh(part.vertices.astype(np.float32), part.triangles, part.colours, part.columns)
    if len(welded(rounded).vertices) == len(rounded.vertices):
        return rounded
    mended = settled(part)
    if not is_watertight(welded(mended)):
        raise BadMesh(f"part {name} has places too fine for a file's 32-bit numbers: smooth or reduce it")
    return mended


def write_parts(
    folder: Path,
    name: str,
    parts: Mapping[str, Mesh],
    formats: Sequence[str] = FORMATS,
    overwrite: bool = False,
    thumbnail: bytes | None = None,
) -> dict[str, Path]:
    """Write `PART.stl` and `PART.ply` for each part and `NAME.3mf` for all of them.

    Parameters
    ----------
    folder : where to; it must be there
    name : of the whole, for the 3MF
    parts : name to closed mesh, millimetres, in one frame
    formats : which of "stl", "3mf" and "ply"
    overwrite : whether files that are there may be replaced
    thumbnail : a PNG for the 3MF

    Returns
    -------
    What was written: file name to path.

    Raises
    ------
    BadMesh
        A part is not fit to leave; nothing is written.
    BadFile
        A file is in the way, or the disk refuses; none of them is left half-written.
    """
    unknown = set(formats) - set(FORMATS)
    if unknown:
        raise BadSetting(f"parts are written as {', '.join(FORMATS)}, not {sorted(unknown)[0]}")
    if not folder.is_dir():
        raise BadFile(f"{folder}: there is no such folder: make it first")
    ready = {part: ready_for_files(part, mesh) for part, mesh in parts.items()}
    things: dict[str, Mesh | Mapping[str, Mesh]] = {}
    for suffix in ("stl", "ply"):
        if suffix in formats:
            things.update({f"{part}.{suffix}": mesh for part, mesh in ready.items()})
    if "3mf" in formats:
        things[f"{name}.3mf"] = ready
    with ExitStack() as files:  # each appears under its name only when all of them are whole
        for file_name, thing in things.items():
            path = folder / file_name
            write_into(files.enter_context(whole_file(path, overwrite)), path, thing, thumbnail)
    return {file_name: folder / file_name for file_name in things}
