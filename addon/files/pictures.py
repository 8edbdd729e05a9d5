"""PNG and JPEG pictures as they lie on disk: their size, which way up they are shown, and their bytes without the rest.

Nothing is decoded. What a camera writes beside the pixels (place, time, owner, previews) is left behind.
"""

import struct
from dataclasses import dataclass
from pathlib import Path

from ..geometry.errors import BadFile

_PNG = b"\x89PNG\r\n\x1a\n"
_CHUNKS = (b"IHDR", b"PLTE", b"tRNS", b"cHRM", b"gAMA", b"sRGB", b"iCCP", b"IDAT", b"IEND")
"""Those a picture needs to look as it does (ISO/IEC 15948, Portable Network Graphics)."""
_FRAMES = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
"""Markers that begin a frame and tell its size (ITU-T T.81, table B.1)."""
_START, _END, _SCAN, _EXIF, _COMMENT = 0xD8, 0xD9, 0xDA, 0xE1, 0xFE
_NEEDED_APPS = (0xE0, 0xE2, 0xEE)  # JFIF, colour profile, colour transform
_ORIENTATION = 0x0112  # of TIFF 6.0, section 8
_QUARTERS = {1: 0, 3: 2, 6: 1, 8: 3}


@dataclass(frozen=True)
class StoredPicture:
    """A picture.

    Parameters
    ----------
    kind : "png" or "jpeg"
    size : width and height as it is stored, pixels
    quarters : quarter turns to the right by which it is meant to be shown
    content : the file's bytes with nothing in them but the picture
    """

    kind: str
    size: tuple[int, int]
    quarters: int
    content: bytes


def read_picture(path: str | Path) -> StoredPicture:
    """The picture in a .png or .jpg file, whatever its ending says.

    Raises
    ------
    BadFile
        Not readable, neither of the two, or damaged.
    """
    file = Path(path)
    try:
        content = file.read_bytes()
    except OSError as error:
        raise BadFile(f"{file}: cannot be read: {error.strerror or error}") from error
    try:
        if content.startswith(_PNG):
            return _png(content)
        if content.startswith(b"\xff\xd8"):
            return _jpeg(content)
    except (struct.error, IndexError, ValueError) as error:
        raise BadFile(f"{file}: the picture is damaged or cut short ({error})") from None
    raise BadFile(f"{file}: neither a PNG nor a JPEG picture")


def _png(content: bytes) -> StoredPicture:
    kept = [_PNG]
    width, height = struct.unpack(">II", content[16:24])
    place, name = len(_PNG), b""
    while name != b"IEND":
        (length,) = struct.unpack(">I", content[place : place + 4])
        name, after = content[place + 4 : place + 8], place + 12 + length
        if after > len(content):
            raise ValueError(f"chunk at byte {place}")
        if name in _CHUNKS:
            kept.append(content[place:after])
        place = after
    return StoredPicture("png", (width, height), 0, b"".join(kept))


def _jpeg(content: bytes) -> StoredPicture:
    kept, size, quarters = [content[:2]], (0, 0), 0
    place, marker = 2, _START
    while True:
        while content[place + 1] == 0xFF:  # fill bytes
            place += 1
        if content[place] != 0xFF:
            raise ValueError(f"no marker at byte {place}")
        marker = content[place + 1]
        if marker == _END:
            kept.append(content[place : place + 2])
            break
        (length,) = struct.unpack(">H", content[place + 2 : place + 4])
        after = place + 2 + length
        segment = content[place:after]
        if marker in _FRAMES:
            height, width = struct.unpack(">HH", segment[5:9])
            size = (width, height)
        if marker == _EXIF and segment[4:10] == b"Exif\0\0":
            quarters = _turned(segment[10:])
        if marker == _SCAN:
            after = _scan_end(content, after)
            segment = content[place:after]
        if not (0xE0 <= marker <= 0xEF or marker == _COMMENT) or marker in _NEEDED_APPS:
            kept.append(b"" if segment[4:8] == b"MPF\0" else segment)  # an index of further pictures, which are cut off
        place = after
    if not all(size):
        raise ValueError("no frame")
    return StoredPicture("jpeg", size, quarters, b"".join(kept))


def _scan_end(content: bytes, place: int) -> int:
    """Where the coded pixels end: at a marker that is neither a stuffed byte nor a restart."""
    while True:
        place = content.index(b"\xff", place)
        following = content[place + 1]
        if following != 0x00 and not 0xD0 <= following <= 0xD7 and following != 0xFF:
            return place
        place += 1 if following == 0xFF else 2


def _turned(tiff: bytes) -> int:
    """Quarter turns to the right that the camera asks for; mirrored ones are left as stored."""
    order = {b"II": "<", b"MM": ">"}.get(tiff[:2])
    if order is None:
        return 0
    (first,) = struct.unpack(order + "I", tiff[4:8])
    (count,) = struct.unpack(order + "H", tiff[first : first + 2])
    for entry in range(first + 2, first + 2 + 12 * count, 12):
        tag, _, _, value = struct.unpack(order + "HHIH", tiff[entry : entry + 10])
        if tag == _ORIENTATION:
            return _QUARTERS.get(value, 0)
    return 0
