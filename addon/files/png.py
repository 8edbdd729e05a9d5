"""PNG: colours written, grey heights of 8 or 16 bits read; nothing else of the format."""

import struct
import zlib
from pathlib import Path
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from ..geometry.errors import BadFile

SIGNATURE = b"\x89PNG\r\n\x1a\n"
_GREY, _GREY_ALPHA, _COLOUR = 0, 4, 2


def write_png(file: BinaryIO, picture: NDArray[np.generic]) -> None:
    """Write (h, w, 3) colours, sRGB, or (h, w) grey, of 8 bits or, grey, of 16.

    Notes
    -----
    PNG specification, third edition, W3C 2025: every row unfiltered.
    """
    high, wide = picture.shape[:2]
    colour = _COLOUR if picture.ndim == 3 else _GREY
    rows = np.ascontiguousarray(picture.astype(picture.dtype.newbyteorder(">"))).view(np.uint8).reshape(high, -1)
    lines = np.zeros((high, rows.shape[1] + 1), np.uint8)
    lines[:, 1:] = rows
    file.write(SIGNATURE)
    _write_chunk(file, b"IHDR", struct.pack(">IIBBBBB", wide, high, 8 * picture.dtype.itemsize, colour, 0, 0, 0))
    _write_chunk(file, b"IDAT", zlib.compress(lines.tobytes(), 6))
    _write_chunk(file, b"IEND", b"")


def _write_chunk(file: BinaryIO, name: bytes, body: bytes) -> None:
    file.write(struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body)))


def read_heights(path: str | Path) -> NDArray[np.float64]:
    """A grey PNG as (h, w) heights from 0 (black) to 1 (white), the top row first.

    Raises
    ------
    BadFile
        No PNG, damaged, with colours or a palette, interlaced, or of fewer than 8 bits.
    """
    file = Path(path)
    try:
        data = file.read_bytes()
    except OSError as error:
        raise BadFile(f"{file}: cannot be read: {error.strerror or error}") from None
    if not data.startswith(SIGNATURE):
        raise BadFile(f"{file}: is no PNG: save the height image as a grey PNG of 8 or 16 bits")
    try:
        header, body = _chunks(data)
        wide, high, depth, colour, _, _, interlaced = struct.unpack(">IIBBBBB", header)
        if colour not in (_GREY, _GREY_ALPHA) or depth not in (8, 16) or interlaced or not wide * high:
            raise BadFile(f"{file}: heights come as a grey PNG of 8 or 16 bits, not interlaced: save it again as such")
        size = depth // 8 * (2 if colour == _GREY_ALPHA else 1)
        lines = np.frombuffer(zlib.decompress(body), np.uint8).reshape(high, wide * size + 1)
        values = _unfiltered(lines, size).reshape(high, wide, size)
    except (struct.error, zlib.error, ValueError) as error:
        raise BadFile(f"{file}: damaged PNG ({error}): save it again") from None
    if depth == 8:
        return values[..., 0] / 255.0
    grey: NDArray[np.float64] = (values[..., 0].astype(np.float64) * 256 + values[..., 1]) / 65535.0
    return grey


def _chunks(data: bytes) -> tuple[bytes, bytes]:
    """The header, and all image data in one."""
    header, body, at = b"", [], len(SIGNATURE)
    while at + 12 <= len(data):
        (length,) = struct.unpack(">I", data[at : at + 4])
        name, inner = data[at + 4 : at + 8], data[at + 8 : at + 8 + length]
        (check,) = struct.unpack(">I", data[at + 8 + length : at + 12 + length])
        if zlib.crc32(name + inner) != check:
            raise ValueError(f"chunk {name.decode('latin-1')} has a wrong checksum")
        if name == b"IHDR":
            header = inner
        elif name == b"IDAT":
            body.append(inner)
        at += 12 + length
    return header, b"".join(body)


def _unfiltered(lines: NDArray[np.uint8], size: int) -> NDArray[np.uint8]:
    """The rows as they were before each was filtered; `size` bytes a pixel."""
    above = np.zeros(lines.shape[1] - 1, np.uint8)
    rows = np.empty((len(lines), lines.shape[1] - 1), np.uint8)
    for number, line in enumerate(lines):
        kind, row = int(line[0]), line[1:].copy()
        if kind == 1:  # by the pixel before: running sums, modulo 256
            row = row.reshape(-1, size).cumsum(axis=0, dtype=np.uint8).ravel()
        elif kind == 2:
            row += above
        elif kind in (3, 4):
            row = _by_both(row, above, size, kind)
        elif kind:
            raise ValueError(f"row {number} has filter {kind}")
        rows[number] = above = row
    return rows


def _by_both(row: NDArray[np.uint8], above: NDArray[np.uint8], size: int, kind: int) -> NDArray[np.uint8]:
    """A row filtered by the mean (3) or the likeliest (4) of the pixels before, above and before that."""
    found, up = row.tolist(), above.tolist()
    for at in range(len(found)):
        a = found[at - size] if at >= size else 0
        b = up[at]
        if kind == 3:
            guess = (a + b) // 2
        else:
            c = up[at - size] if at >= size else 0
            to_a, to_b, to_c = abs(b - c), abs(a - c), abs(a + b - 2 * c)
            guess = a if to_a <= to_b and to_a <= to_c else b if to_b <= to_c else c
        found[at] = (found[at] + guess) & 255
    return np.array(found, np.uint8)
