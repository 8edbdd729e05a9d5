"""Files appear whole under their names, or not at all."""

import numpy as np
import pytest
from canthus.files.parts import ready_for_files, write_parts
from canthus.files.writing import whole_file, write
from canthus.geometry.cloud import Cloud
from canthus.geometry.errors import BadFile, BadMesh
from canthus.geometry.mesh import Mesh
from canthus.geometry.solids.primitives import box, icosphere

BALL = icosphere(1, 5.0)
CLOUD = Cloud(np.eye(3))


def left(folder):
    return sorted(each.name for each in folder.iterdir())


def test_nothing_is_replaced_without_being_asked(tmp_path):
    (tmp_path / "a.stl").write_text("precious")
    with pytest.raises(BadFile, match=r"a\.stl: is there already"):
        write(tmp_path / "a.stl", BALL)
    assert (tmp_path / "a.stl").read_text() == "precious"
    write(tmp_path / "a.stl", BALL, overwrite=True)
    assert left(tmp_path) == ["a.stl"]


def test_a_writer_that_fails_half_way_leaves_nothing(tmp_path):
    def half():
        with whole_file(tmp_path / "a.bin") as file:
            file.write(b"half")
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        half()
    assert left(tmp_path) == []


def test_a_full_disk_is_one_line(tmp_path):
    def full():
        with whole_file(tmp_path / "a.bin"):
            raise OSError(28, "No space left on device")

    with pytest.raises(BadFile, match=r"a\.bin: cannot be written: No space left on device"):
        full()
    assert left(tmp_path) == []


@pytest.mark.parametrize(
    ("name", "thing", "words"),
    [
        ("a.stl", CLOUD, "STL cannot hold a cloud of points"),
        ("a.3mf", CLOUD, "3MF cannot hold a cloud of points"),
        ("a.xyz", BALL, "XYZ cannot hold a surface"),
        ("a.stl", {"head": BALL}, "STL cannot hold several parts"),
        ("a.gif", BALL, "not .gif"),
        ("none/a.stl", BALL, "cannot be written: No such file or directory"),
    ],
)
def test_what_cannot_be_written(tmp_path, name, thing, words):
    with pytest.raises(BadFile, match=words):
        write(tmp_path / name, thing)
    assert left(tmp_path) == []


def test_parts_are_written_all_together(tmp_path):
    written = write_parts(tmp_path, "bust", {"head": BALL, "eye-left": icosphere(1, 2.0)})
    assert sorted(written) == ["bust.3mf", "eye-left.ply", "eye-left.stl", "head.ply", "head.stl"]
    assert left(tmp_path) == sorted(written)


def test_one_file_in_the_way_stops_all_of_them(tmp_path):
    (tmp_path / "bust.3mf").write_text("precious")
    with pytest.raises(BadFile, match="is there already"):
        write_parts(tmp_path, "bust", {"head": BALL})
    assert left(tmp_path) == ["bust.3mf"]
    assert (tmp_path / "bust.3mf").read_text() == "precious"


def test_a_part_that_is_open_or_inside_out_does_not_leave(tmp_path):
    with pytest.raises(BadMesh, match="part head is not a closed surface"):
        write_parts(tmp_path, "bust", {"head": BALL.kept(np.arange(1, 80))})
    with pytest.raises(BadMesh, match="part head is inside out"):
        write_parts(tmp_path, "bust", {"head": Mesh(BALL.vertices, BALL.triangles[:, ::-1])})
    assert left(tmp_path) == []


def test_vertices_that_one_file_would_merge_are_kept_apart_or_joined():
    """Two vertices 1e-9 apart are one place as 32-bit floats: what is written still welds to a closed surface."""
    from canthus.geometry.measures import is_watertight
    from canthus.geometry.mending.welding import welded

    cube = box((100, 100, 100), (101, 102, 103))
    first = cube.triangles[0]
    extra = len(cube.vertices)
    middle = cube.vertices[first[0]] + 1e-9 * (
        cube.vertices[first[1]] + cube.vertices[first[2]] - 2 * cube.vertices[first[0]]
    )
    fan = [(first[0], first[1], extra), (first[1], first[2], extra), (first[2], first[0], extra)]
    fine = Mesh(np.vstack([cube.vertices, middle]), np.vstack([cube.triangles[1:], fan]))
    assert is_watertight(fine)
    assert is_watertight(welded(ready_for_files("cube", fine)))
