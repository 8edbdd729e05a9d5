"""Which format a file's bytes are in, whatever its name says."""

from pathlib import Path

from ..geometry.errors import BadFile
from . import stl

BY_SUFFIX = {
    ".ply": "PLY", ".obj": "OBJ", ".stl": "STL", ".3mf": "3MF",
    ".xyz": "XYZ", ".txt": "XYZ", ".asc": "XYZ", ".csv": "XYZ", ".pts": "XYZ",
}  # fmt: skip
PACKAGE = "a zip package that is no 3MF"
OTHERS = {
    b"\x1f\x8b": "a gzip archive",
    b"\x89PNG": "a PNG picture",
    b"\xff\xd8\xff": "a JPEG picture",
    b"%PDF": "a PDF document",
    b"glTF": "a binary glTF file",
    b"OFF\n": "an OFF file",
    b"BLENDER": "a .blend file",
    b"<html": "a web page",
    b"<!DOCTYPE": "a web page",
}


def format_of(path: Path, data: bytes) -> str:
    """The format to read `data` in. Raises `BadFile` if the name and the bytes are at odds or the name says nothing."""
    suffix = path.suffix.lower()
    if suffix not in BY_SUFFIX:
        raise BadFile(f"its name ends in {suffix or 'nothing'}: Canthus reads {', '.join(BY_SUFFIX)}")
    named, held = BY_SUFFIX[suffix], _format_by_bytes(data)
    if held is None or held == named or (held == PACKAGE and named == "3MF"):
        return named
    if held in BY_SUFFIX.values():
        raise BadFile(f"is named {suffix} but holds {held}: rename it to {path.stem}.{held.lower()}")
    raise BadFile(f"is named {suffix} but holds {held}")


def _format_by_bytes(data: bytes) -> str | None:
    """The format these bytes plainly are in; None if nothing marks them."""
    if data[:3] == b"ply" and data[3:4] in b"\r\n \t":
        return "PLY"
    if data[:4] == b"PK\x03\x04":
        return "3MF" if b"3D/" in data else PACKAGE if b"_rels/.rels" in data else "a zip archive"
    for magic, name in OTHERS.items():
        if data.startswith(magic):
            return name
    if len(data) > 84 and len(data) == 84 + 50 * int.from_bytes(data[80:84], "little"):
        return "STL"
    if stl.is_text(data) and b"facet" in data[:2048].lower():
        return "STL"
    return "OBJ" if _looks_like_obj(data) else None


def _looks_like_obj(data: bytes) -> bool:
    """Whether its first lines that are no comments begin with words only OBJ has."""
    words = [line.split(None, 1)[0] for line in data[:4096].splitlines()[:-1] if line.strip()]
    words = [word for word in words if not word.startswith(b"#")]
    return len(words) > 2 and set(words) <= {b"v", b"vn", b"vt", b"f", b"o", b"g", b"s", b"mtllib", b"usemtl"}
