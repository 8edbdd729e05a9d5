"""Reads a file into a cloud or a mesh, or says in one line what is wrong with it."""

from pathlib import Path

import numpy as np

from ..geometry.cloud import Cloud
from ..geometry.errors import BadFile, CanthusError
from ..geometry.mesh import Mesh
from .contents import Contents, Reading, understood
from .detection import format_of
from .obj import obj_contents
from .ply_reading import ply_contents
from .stl import stl_contents
from .threemf_reading import threemf_contents
from .xyz import xyz_contents

READERS = {
    "PLY": ply_contents,
    "OBJ": obj_contents,
    "STL": stl_contents,
    "XYZ": xyz_contents,
    "3MF": threemf_contents,
}


def read(path: Path | str) -> Cloud | Mesh:
    """What a PLY, OBJ, STL, XYZ or 3MF file holds, in the file's own unit and frame (3MF: in millimetres).

    Parameters
    ----------
    path : the file; its content must be what its name says

    Returns
    -------
    A mesh where the file holds triangles, else a cloud; colours, a cloud's normals and other columns kept.

    Raises
    ------
    BadFile
        The file cannot be read; one line names it and the fault, with byte or line where there is one.
    """
    return reading_of(path).thing


def reading_of(path: Path | str) -> Reading:
    """What `read` gives, with the format it was in and sentences on what was left out on the way."""
    path = Path(path)
    try:
        data = _bytes_of(path)
        file_format = format_of(path, data)
        with np.errstate(all="ignore"):  # a damaged file's numbers may be anything until they have been judged
            contents: Contents = READERS[file_format](data)
            return understood(contents, file_format)
    except CanthusError as fault:
        raise BadFile(f"{path}: {fault}") from None


def _bytes_of(path: Path) -> bytes:
    """The whole file, or `BadFile` saying why not."""
    if path.is_dir():
        raise BadFile("is a folder: name a file in it")
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        raise BadFile("there is no such file") from None
    except PermissionError:
        raise BadFile("may not be read: permission denied") from None
    except OSError as fault:
        raise BadFile(f"cannot be read: {fault.strerror}") from None
    if not any(data[:64]) and not data.strip(b"\0"):
        raise BadFile("is empty: 0 bytes" if not data else f"holds nothing but {len(data)} zero bytes")
    return data
