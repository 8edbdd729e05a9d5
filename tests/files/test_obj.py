"""OBJ read and written."""

import numpy as np
import pytest
import trimesh
from canthus.files.reading import read
from canthus.files.writing import write
from canthus.geometry.cloud import Cloud
from canthus.geometry.mesh import Mesh
from canthus.geometry.solids.primitives import icosphere
from captures import base_body_file

SQUARE = "v 0 0 0\nv 1 0 0\nv 1 1 0\nv 0 1 0\n"


@pytest.mark.parametrize("face", ["f 1 2 3", "f 1/5 2/6 3/7", "f 1//8 2//8 3//8", "f 1/5/8 2/6/8 3/7/8", "f -4 -3 -2"])
def test_every_way_to_name_a_corner(tmp_path, face):
    (tmp_path / "a.obj").write_text(
        f"# made by hand\nmtllib none.mtl\no thing\n{SQUARE}vt 0 0\nvn 0 0 1\ns off\n{face}\n"
    )
    np.testing.assert_array_equal(read(tmp_path / "a.obj").triangles, [[0, 1, 2]])


def test_negative_corners_count_back_from_where_they_stand(tmp_path):
    text = "v 0 0 0\nv 1 0 0\nv 0 1 0\nf -3 -2 -1\nv 5 0 0\nv 6 0 0\nv 5 1 0\nf -3 -2 -1\n"
    (tmp_path / "a.obj").write_text(text)
    np.testing.assert_array_equal(read(tmp_path / "a.obj").triangles, [[0, 1, 2], [3, 4, 5]])


def test_polygons_and_lines_that_go_on(tmp_path):
    (tmp_path / "a.obj").write_text(SQUARE + "f 1 2 \\\n 3 4\nf 1 2 3\n")
    mesh = read(tmp_path / "a.obj")
    assert len(mesh.triangles) == 3
    areas = np.cross(*(np.diff(mesh.corners, axis=1).transpose(1, 0, 2)))[:, 2] / 2
    assert areas.tolist() == [0.5, 0.5, 0.5]


@pytest.mark.parametrize(("colour", "expected"), [("1 0 0.5", 128), ("255 0 128", 128)])
def test_vertex_colours_in_either_range(tmp_path, colour, expected):
    lines = [f"{line} {colour}" for line in SQUARE.splitlines()]
    (tmp_path / "a.obj").write_text("\n".join([*lines, "f 1 2 3", ""]))
    np.testing.assert_array_equal(read(tmp_path / "a.obj").colours, [[255, 0, expected]] * 4)


def test_points_only_are_a_cloud_with_normals(tmp_path):
    (tmp_path / "a.obj").write_text("v 0 0 0\nvn 0 0 2\nv 1 0 0\nvn 0 1 0\n")
    cloud = read(tmp_path / "a.obj")
    assert isinstance(cloud, Cloud)
    np.testing.assert_array_equal(cloud.normals, [[0, 0, 1], [0, 1, 0]])


def test_there_and_back(tmp_path):
    ball = icosphere(3, 12.0)
    colours = np.random.default_rng(0).integers(0, 256, (len(ball.vertices), 3)).astype(np.uint8)
    write(tmp_path / "ball.obj", Mesh(ball.vertices, ball.triangles, colours))
    back = read(tmp_path / "ball.obj")
    np.testing.assert_allclose(back.vertices, ball.vertices, rtol=1e-8)
    np.testing.assert_array_equal(back.triangles, ball.triangles)
    np.testing.assert_array_equal(back.colours, colours)
    assert trimesh.load(tmp_path / "ball.obj", process=False).volume == pytest.approx(7238.2295, rel=0.01)


def test_a_body_of_quads():
    """D4: 19,158 vertices; the body's 13,378 quads, which come first, stand 16.66 decimetres high."""
    mesh = read(base_body_file())
    assert len(mesh.vertices) == 19_158
    body = mesh.kept(np.arange(2 * 13_378))
    assert np.ptp(body.vertices[:, 1]) == pytest.approx(16.66, abs=0.01)
