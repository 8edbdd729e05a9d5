"""STL read and written, against the format's facts (reference_values section 7)."""

import errno
import sys

import numpy as np
import pytest
import trimesh
from canthus.files.reading import read
from canthus.files.stl import write_stl
from canthus.files.writing import write
from canthus.geometry.measures import is_watertight, volume
from canthus.geometry.mesh import Mesh
from canthus.geometry.solids.primitives import icosphere
from captures import broken_stl_folder, mri_head


def test_binary_layout(tmp_path):
    """84 + 50 n bytes; 80 of header that must not begin with "solid"; attribute words 0 (paulbourke.net, R
    freesurferformats)."""
    ball = icosphere(3, 12.0)
    write(tmp_path / "ball.stl", ball)
    data = (tmp_path / "ball.stl").read_bytes()
    assert len(data) == 84 + 50 * len(ball.triangles)
    assert int.from_bytes(data[80:84], "little") == len(ball.triangles)
    assert not data.startswith(b"solid")
    records = np.frombuffer(data, [("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("word", "<u2")], offset=84)
    assert not records["word"].any()
    np.testing.assert_allclose(np.linalg.norm(records["normal"], axis=1), 1, atol=1e-6)
    assert (np.einsum("ij,ij->i", records["normal"], records["corners"].mean(axis=1)) > 0).all()


def test_what_was_closed_comes_back_closed(tmp_path):
    ball = icosphere(4, 12.0)
    write(tmp_path / "ball.stl", ball)
    back = read(tmp_path / "ball.stl")
    assert is_watertight(back)
    assert len(back.vertices) == 2562  # 10 * 4**4 + 2: reference_values section 8
    assert volume(back) == pytest.approx(volume(ball), rel=1e-6)


def test_an_independent_reader_finds_the_same_volume(tmp_path):
    ball = icosphere(3, 12.0)
    write(tmp_path / "ball.stl", ball)
    assert trimesh.load(tmp_path / "ball.stl").volume == pytest.approx(volume(ball), rel=1e-6)


def test_the_length_is_tested_before_the_word_solid(tmp_path):
    """A binary file whose header begins with "solid facet": the rule of reference_values section 7."""
    write(tmp_path / "ball.stl", icosphere(1))
    data = b"solid facet normal vertex".ljust(80) + (tmp_path / "ball.stl").read_bytes()[80:]
    (tmp_path / "solid.stl").write_bytes(data)
    assert len(read(tmp_path / "solid.stl").triangles) == 80


def test_ascii_of_an_independent_writer(tmp_path):
    """Written by trimesh; capitals and leading blanks are the same file."""
    text = trimesh.exchange.stl.export_stl_ascii(trimesh.creation.icosphere(1, 5.0))
    for name, content in {"plain": text, "loud": text.upper(), "windows": text.replace("\n", "\r\n")}.items():
        (tmp_path / f"{name}.stl").write_bytes(content.encode())
        mesh = read(tmp_path / f"{name}.stl")
        assert len(mesh.triangles) == 80
        assert is_watertight(mesh)


def test_two_solids_in_one_ascii_file(tmp_path):
    text = trimesh.exchange.stl.export_stl_ascii(trimesh.creation.icosphere(1, 5.0))
    (tmp_path / "two.stl").write_text(text + "\n" + text)
    assert len(read(tmp_path / "two.stl").triangles) == 160


def test_a_file_as_scanners_round_it(tmp_path):
    """D3: a real head of 376,700 triangles stays closed, and is welded to the vertices it had."""
    head = mri_head()
    write(tmp_path / "head.stl", head)
    back = read(tmp_path / "head.stl")
    assert is_watertight(back)
    assert len(back.vertices) == len(head.vertices)


BROKEN = {
    "empty.stl": "is empty",
    "fourVertices.ascii.stl": "line 7: 'vertex' where 'endloop' belongs",
    "quad.ascii.stl": "line 7: 'vertex' where 'endloop' belongs",
    "twoVertices.ascii.stl": "line 6: 'endloop' where 'vertex' belongs",
    "incorrectFaceCounter.bin.stl": "byte 80 says 66 triangles",
    "missingEndsolid.ascii.stl": "without endsolid",
}
USABLE = {
    "wrongNormal.ascii.stl",
    "wrongNormals.ascii.stl",
    "notANumberNormal.ascii.stl",
    "solidNameMismatch.ascii.stl",
}


def test_published_broken_files():
    """D5 (npm stl-models): what cannot be read is refused, faults that do not touch the surface are not."""
    from canthus.geometry.errors import BadFile

    folder = broken_stl_folder()
    for name, words in BROKEN.items():
        with pytest.raises(BadFile, match=words):
            read(folder / name)
    for name in USABLE:
        assert isinstance(read(folder / name), Mesh)


@pytest.mark.skipif(sys.platform != "linux", reason="needs the device that is always full")
def test_a_full_disk_says_so():
    with open("/dev/full", "wb", buffering=0) as full, pytest.raises(OSError) as fault:  # noqa: PT011 the number tells
        write_stl(full, icosphere(2, 10.0))
    assert fault.value.errno == errno.ENOSPC
