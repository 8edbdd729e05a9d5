"""Pictures taken apart without decoding, checked with Pillow: the same pixels, nothing of the camera's left."""

import io

import numpy as np
import pytest
from canthus.files.pictures import read_picture
from canthus.geometry.errors import BadFile
from PIL import Image

SECRET = b"50 degrees north"


def photograph(seed=0, size=(67, 45)):
    width, height = size
    pixels = np.random.default_rng(seed).integers(0, 256, (height, width, 3), dtype=np.uint8)
    return Image.fromarray(pixels)


def stored(path, kind, turn=1, **options):
    """A picture with notes of place and owner, as a camera leaves it."""
    notes = Image.Exif()
    notes[0x0112], notes[0x010E] = turn, SECRET.decode()
    photograph().save(path, kind, exif=notes, comment=SECRET, **options)
    path.write_bytes(path.read_bytes() + SECRET)  # some add a film or a second picture at the end
    return path


@pytest.mark.parametrize(
    ("kind", "options"),
    [
        ("PNG", {}),
        ("JPEG", {"quality": 90}),
        ("JPEG", {"progressive": True}),
        ("JPEG", {"quality": 30, "restart_marker_rows": 1}),
    ],
)
def test_the_picture_is_the_same_and_what_was_written_beside_it_is_gone(tmp_path, kind, options):
    path = stored(tmp_path / "picture", kind, **options)
    assert SECRET in path.read_bytes()
    found = read_picture(path)
    assert (found.kind, found.size) == (kind.lower(), (67, 45))
    assert SECRET not in found.content
    again, before = Image.open(io.BytesIO(found.content)), Image.open(path)
    assert again.getexif() == {}
    np.testing.assert_array_equal(np.asarray(again), np.asarray(before))


@pytest.mark.parametrize(("turn", "quarters"), [(1, 0), (2, 0), (3, 2), (6, 1), (8, 3)])
def test_which_way_up_it_is_shown(tmp_path, turn, quarters):
    """As Pillow turns it, whose quarter turns go to the left."""
    from PIL import ImageOps

    path = stored(tmp_path / "picture.jpg", "JPEG", turn, quality=95)
    assert read_picture(path).quarters == quarters
    if turn != 2:  # mirrored
        shown = np.asarray(ImageOps.exif_transpose(Image.open(path)))
        np.testing.assert_array_equal(shown, np.rot90(np.asarray(Image.open(path)), -quarters))


def test_what_is_no_picture_is_refused(tmp_path):
    path = tmp_path / "picture.jpg"
    with pytest.raises(BadFile, match="cannot be read"):
        read_picture(path)
    path.write_bytes(b"GIF89a")
    with pytest.raises(BadFile, match="neither a PNG nor a JPEG"):
        read_picture(path)


@pytest.mark.parametrize("kind", ["PNG", "JPEG"])
def test_a_picture_cut_short_is_refused_wherever_it_is_cut(tmp_path, kind):
    whole = stored(tmp_path / "whole", kind).read_bytes()
    end = len(whole) - len(SECRET)
    for length in [*range(2, 200), *range(200, end - 2, 97)]:
        (tmp_path / "cut").write_bytes(whole[:length])
        with pytest.raises(BadFile, match=r"cut short|neither"):
            read_picture(tmp_path / "cut")


def test_damage_never_ends_in_anything_but_a_sentence(tmp_path):
    """Bytes of sound pictures changed at random."""
    generator = np.random.default_rng(0)
    for kind in ("PNG", "JPEG"):
        whole = np.frombuffer(stored(tmp_path / "whole", kind).read_bytes(), np.uint8)
        for _ in range(300):
            damaged = whole.copy()
            damaged[generator.integers(0, min(len(whole), 800), 3)] = generator.integers(0, 256, 3)
            (tmp_path / "damaged").write_bytes(damaged.tobytes())
            try:
                found = read_picture(tmp_path / "damaged")
            except BadFile:
                continue
            assert min(found.size) > 0
