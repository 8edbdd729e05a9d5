"""Writes a cloud, a mesh or named parts: whole and under its name, or not at all."""

import os
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from ..geometry.cloud import Cloud
from ..geometry.errors import BadFile
from ..geometry.mesh import Mesh
from .obj import write_obj
from .ply_writing import write_ply
from .stl import write_stl
from .threemf_writing import write_threemf
from .xyz import write_xyz

SUFFIXES = (".ply", ".obj", ".stl", ".3mf", ".xyz")


def write(
    path: Path | str, thing: Cloud | Mesh | Mapping[str, Mesh], overwrite: bool = False, thumbnail: bytes | None = None
) -> None:
    """Write a file in the format its name ends in.

    Parameters
    ----------
    path : where to; PLY and OBJ take clouds and meshes, STL a mesh, 3MF a mesh or named meshes, XYZ a cloud
    thing : what to write, in millimetres
    overwrite : whether a file that is there already may be replaced
    thumbnail : a PNG to put into a 3MF

    Raises
    ------
    BadFile
        The format cannot hold it, the file is there already, or the disk refuses. Nothing is left half-written.
    """
    path = Path(path)
    suffix = path.suffix.lower()
    if suffix not in SUFFIXES:
        raise BadFile(f"{path}: Canthus writes {', '.join(SUFFIXES)}, not {suffix or 'a name without an ending'}")
    with whole_file(path, overwrite) as file:
        write_into(file, path, thing, thumbnail)


def write_into(
    file: BinaryIO, path: Path, thing: Cloud | Mesh | Mapping[str, Mesh], thumbnail: bytes | None = None
) -> None:
    """Write to an open file, in the format the name of `path` ends in."""
    suffix = path.suffix.lower()
    if suffix == ".3mf" and isinstance(thing, Mesh):
        write_threemf(file, {"part": thing}, thumbnail)
    elif suffix == ".3mf" and isinstance(thing, Mapping):
        write_threemf(file, thing, thumbnail)
    elif suffix == ".stl" and isinstance(thing, Mesh):
        write_stl(file, thing)
    elif suffix == ".xyz" and isinstance(thing, Cloud):
        write_xyz(file, thing)
    elif suffix == ".ply" and isinstance(thing, Cloud | Mesh):
        write_ply(file, thing)
    elif suffix == ".obj" and isinstance(thing, Cloud | Mesh):
        write_obj(file, thing)
    else:
        raise BadFile(f"{path}: {suffix[1:].upper()} cannot hold {_named(thing)}")


@contextmanager
def whole_file(path: Path, overwrite: bool = False) -> Iterator[BinaryIO]:
    """A new file that appears under its name when the block ends well, and leaves nothing when it does not.

    Raises
    ------
    BadFile
        It is there already and may not be replaced, or the disk refuses.
    """
    if path.is_dir():
        raise BadFile(f"{path}: is a folder: name a file")
    if path.exists() and not overwrite:
        raise BadFile(f"{path}: is there already: name another, or set overwrite")
    try:
        handle, temporary = tempfile.mkstemp(prefix=f".{path.name}.", suffix=".part", dir=path.parent)
    except OSError as fault:
        raise BadFile(f"{path}: cannot be written: {fault.strerror or fault}") from None
    try:
        with open(handle, "wb") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        os.chmod(temporary, 0o666 & ~_mask())
        os.replace(temporary, path)
    except OSError as fault:
        raise BadFile(f"{path}: cannot be written: {fault.strerror or fault}") from None
    finally:
        Path(temporary).unlink(missing_ok=True)


def _mask() -> int:
    """What the user's own new files are denied; read the only way there is, by setting it and setting it back."""
    mask = os.umask(0o077)
    os.umask(mask)
    return mask


def _named(thing: object) -> str:
    if isinstance(thing, Cloud):
        return "a cloud of points: close it to a surface first"
    return "a surface" if isinstance(thing, Mesh) else "several parts: write one file each, or a 3MF"
