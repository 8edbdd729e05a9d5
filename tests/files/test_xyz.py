"""Plain text points, the ways they are written."""

import numpy as np
import pytest
from canthus.files.reading import read
from canthus.files.writing import write
from canthus.geometry.cloud import Cloud

POINTS = [[1.5, 2.0, 3.0], [4.0, 5.25, 6.0], [7.0, 8.0, 9.0]]


@pytest.mark.parametrize(
    "text",
    [
        "1.5 2 3\n4 5.25 6\n7 8 9\n",
        "1.5,2,3\r\n4,5.25,6\r\n7,8,9",
        "1.5, 2, 3\n4, 5.25, 6\n7, 8, 9\n",
        "1.5\t2\t3\n\n# remark\n4\t5.25\t6\n// remark\n7\t8\t9\n",
        "1,5;2,0;3,0\n4,0;5,25;6,0\n7,0;8,0;9,0\n",
        "1,5 2,0 3,0\n4,0 5,25 6,0\n7,0 8,0 9,0\n",
        "3\n1.5 2 3\n4 5.25 6\n7 8 9\n",
        "x y z\n1.5 2 3\n4 5.25 6\n7 8 9\n",
        "#X [mm], Y [mm], Z [mm]\n1.5,2,3\n4,5.25,6\n7,8,9\n",
        "  1.5e0 +2 3.0\n4 5.25 6\n7 8 9",
    ],
)
def test_the_same_points_however_written(tmp_path, text):
    (tmp_path / "a.txt").write_text(text)
    np.testing.assert_array_equal(read(tmp_path / "a.txt").points, POINTS)


def test_columns_are_known_by_their_look(tmp_path):
    rows = ["0 0 0 0 0 1 255 0 7 3.5", "1 0 0 0 1 0 0 0 0 4.5", "1 1 0 0.6 0.8 0 1 2 3 5.5"]
    (tmp_path / "a.xyz").write_text("\n".join(rows))
    cloud = read(tmp_path / "a.xyz")
    np.testing.assert_array_equal(cloud.normals[0], [0, 0, 1])
    np.testing.assert_array_equal(cloud.colours[0], [255, 0, 7])
    np.testing.assert_array_equal(cloud.columns["column-10"], [3.5, 4.5, 5.5])


def test_columns_are_known_by_name(tmp_path):
    (tmp_path / "a.csv").write_text("quality,X,Y,Z,R,G,B\n0.5,1,2,3,9,8,7\n0.6,4,5,6,9,8,7\n")
    cloud = read(tmp_path / "a.csv")
    np.testing.assert_array_equal(cloud.points, [[1, 2, 3], [4, 5, 6]])
    np.testing.assert_array_equal(cloud.colours, [[9, 8, 7]] * 2)
    np.testing.assert_array_equal(cloud.columns["quality"], [0.5, 0.6])


def test_there_and_back(tmp_path):
    rng = np.random.default_rng(0)
    normals = rng.normal(size=(50, 3))
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    cloud = Cloud(rng.normal(size=(50, 3)), normals, rng.integers(0, 256, (50, 3)).astype(np.uint8))
    write(tmp_path / "a.xyz", cloud)
    back = read(tmp_path / "a.xyz")
    np.testing.assert_allclose(back.points, cloud.points, rtol=1e-8)
    np.testing.assert_allclose(back.normals, cloud.normals, atol=1e-5)
    np.testing.assert_array_equal(back.colours, cloud.colours)
