"""PNG against Pillow, the reference reader and writer, and OBJ of quads there and back."""

import io

import numpy as np
import pytest
from canthus.files.png import read_heights, write_png
from canthus.files.quads_obj import read_quads, write_quads
from canthus.geometry.errors import BadFile
from PIL import Image

QUADS = "v 0 0 0\nv 1 0 0\nv 1 1 0\nv 0 1 0\nvt 0 0\nvt 1 0\nvt 1 1\nvt 0 1\n"


def test_pillow_reads_what_is_written():
    rng = np.random.default_rng(3)
    for picture in (rng.integers(0, 256, (37, 23, 3), np.uint8), rng.integers(0, 65536, (9, 31)).astype(np.uint16)):
        held = io.BytesIO()
        write_png(held, picture)
        np.testing.assert_array_equal(np.asarray(Image.open(held)), picture)


@pytest.mark.parametrize("depth", [8, 16])
def test_heights_are_those_pillow_wrote(tmp_path, depth):
    """Pillow chooses the filter row by row: smooth waves and noise make it use all of them."""
    across, down = np.meshgrid(np.linspace(0, 1, 61), np.linspace(0, 1, 47))
    heights = 0.5 + 0.3 * np.sin(9 * across + 5 * down) + 0.2 * (np.random.default_rng(1).random(across.shape) - 0.5)
    most = 2**depth - 1
    values = np.rint(heights * most).astype(np.uint8 if depth == 8 else np.uint16)
    Image.fromarray(values).save(tmp_path / "skin.png")
    np.testing.assert_allclose(read_heights(tmp_path / "skin.png"), values / most, atol=1e-12)


def test_every_filter_is_undone(tmp_path):
    """The five filters of the specification, section 9.2, applied here by their definition."""
    import struct
    import zlib

    rows = np.random.default_rng(5).integers(0, 256, (10, 8)).astype(int)
    body = b""
    for number, row in enumerate(rows):
        kind, above = number % 5, rows[number - 1] if number else np.zeros(8, int)
        before, corner = np.concatenate([[0], row[:-1]]), np.concatenate([[0], above[:-1]])
        guess = before + above - corner
        near = np.abs(np.stack([guess - before, guess - above, guess - corner]))
        paeth = np.stack([before, above, corner])[near.argmin(axis=0), np.arange(8)]
        off = [0 * row, before, above, (before + above) // 2, paeth][kind]
        body += bytes([kind]) + ((row - off) % 256).astype(np.uint8).tobytes()

    def chunk(name, inner):
        return struct.pack(">I", len(inner)) + name + inner + struct.pack(">I", zlib.crc32(name + inner))

    header = struct.pack(">IIBBBBB", 8, 10, 8, 0, 0, 0, 0)
    data = b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(body)) + chunk(b"IEND", b"")
    (tmp_path / "skin.png").write_bytes(data)
    np.testing.assert_allclose(read_heights(tmp_path / "skin.png") * 255, rows)
    (tmp_path / "bad.png").write_bytes(data.replace(b"IDAT", b"IDAS"))
    with pytest.raises(BadFile, match="damaged"):
        read_heights(tmp_path / "bad.png")


def test_what_is_no_height_image_is_refused(tmp_path):
    Image.new("RGB", (4, 4)).save(tmp_path / "colour.png")
    (tmp_path / "text.png").write_text("no picture")
    for name, words in (("colour.png", "grey PNG"), ("text.png", "is no PNG"), ("none.png", "cannot be read")):
        with pytest.raises(BadFile, match=words):
            read_heights(tmp_path / name)


def test_quads_there_and_back(tmp_path):
    (tmp_path / "base.obj").write_text(QUADS + "g nose\nf 1/1/1 2/2/1 3/3/1 -1/-1/1\n")
    found = read_quads(tmp_path / "base.obj")
    assert found.quads.tolist() == found.uv_quads.tolist() == [[0, 1, 2, 3]]
    assert found.groups.tolist() == ["nose"]
    with (tmp_path / "again.obj").open("wb") as file:
        write_quads(file, found)
    again = read_quads(tmp_path / "again.obj")
    for name in ("vertices", "quads", "uv", "uv_quads", "groups"):
        np.testing.assert_array_equal(getattr(again, name), getattr(found, name))


def test_a_picture_over_quads_is_found_by_another_library(tmp_path):
    """trimesh reads the material library and the picture it names."""
    trimesh = pytest.importorskip("trimesh")
    (tmp_path / "base.obj").write_text(QUADS + "f 1/1/1 2/2/1 3/3/1 -1/-1/1\n")
    found = read_quads(tmp_path / "base.obj")
    with (tmp_path / "skin.png").open("wb") as file:
        write_png(file, np.full((8, 8, 3), (200, 20, 10), np.uint8))
    with (tmp_path / "skin.obj").open("wb") as file, (tmp_path / "skin.mtl").open("wb") as library:
        write_quads(file, found, "skin.png", library)
    shown = trimesh.load(tmp_path / "skin.obj", process=False)
    assert shown.visual.material.image.size == (8, 8)
    assert shown.visual.material.image.getpixel((3, 3))[:3] == (200, 20, 10)
    assert len(shown.visual.uv) == len(shown.vertices)


def test_a_triangle_in_a_base_is_named(tmp_path):
    (tmp_path / "base.obj").write_text(QUADS + "f 1 2 3\n")
    with pytest.raises(BadFile, match="line 9: a face of 3 corners"):
        read_quads(tmp_path / "base.obj")
