"""The photographs the tools take: the host renders what our cameras project."""

import dataclasses

import numpy as np
from canthus.files.photo_marks import PhotoMarks
from photographs import camera
from PIL import Image
from small_pieces import egg

SIZE = (90, 120)


def test_the_host_renders_a_head_where_our_camera_sees_it(tmp_path):
    """The box about all that is not sky, against the box about the projected vertices: within a pixel and a half."""
    from photograph import take

    mesh = dataclasses.replace(egg(3).head, colours=np.full((len(egg(3).head.vertices), 3), (200, 30, 20), np.uint8))
    cameras = [camera(turn, 5, 900, np.array([10.0, -20.0, 5.0]), 300.0, SIZE, roll=8) for turn in (0, 40)]
    take(mesh, [PhotoMarks(f"{number}.jpg", SIZE) for number in range(2)], cameras, tmp_path, 4)
    for number, each in enumerate(cameras):
        picture = np.asarray(Image.open(tmp_path / f"{number}.jpg"), dtype=float)
        assert picture.shape[:2] == SIZE[::-1]
        red = picture[:, :, 0] - picture[:, :, 2] > 40
        rows, columns = np.flatnonzero(red.any(axis=1)), np.flatnonzero(red.any(axis=0))
        low, high = each.project(mesh.vertices).min(axis=0), each.project(mesh.vertices).max(axis=0)
        found = [columns[0], rows[0], columns[-1] + 1, rows[-1] + 1]
        np.testing.assert_allclose(found, [*low, *high], atol=1.5)
