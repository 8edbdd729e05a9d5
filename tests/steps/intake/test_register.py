"""register as a step: passes by their view, sensors and normals along with the points."""

import numpy as np
import pytest
from canthus.geometry.cloud import Cloud
from canthus.geometry.errors import NotPossible
from canthus.geometry.transforms import applied, rotation, transform
from canthus.steps.intake.register import Register
from canthus.steps.workpiece import Workpiece


def test_the_second_pass_comes_back_with_its_normals_and_sensor():
    rng = np.random.default_rng(0)
    ways = rng.standard_normal((12_000, 3))
    ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    body = ways * (60 + 9 * ways[:, :1] * ways[:, 1:2] + 8 * np.sin(4 * ways[:, 2:]))
    view = np.arange(12_000) % 2
    astray = transform(rotation([1, 2, 3], np.radians(3)), [1.0, -2.0, 1.5])
    sensors = np.array([[0, -400.0, 0], [300, -300, 0]])
    points, normals, moved = body.copy(), ways.copy(), sensors.copy()
    points[view == 1] = applied(astray, body[view == 1])
    normals[view == 1] = ways[view == 1] @ astray[:3, :3].T
    moved[1] = applied(astray, sensors[1])
    scan = Cloud(points, normals, columns={"view": view}, sensors=moved)
    piece = Register(search=False).apply(Workpiece(scan=scan))
    assert np.linalg.norm(piece.scan.points - body, axis=1).max() < 0.1
    np.testing.assert_allclose(piece.scan.normals, ways, atol=0.005)
    np.testing.assert_allclose(piece.scan.sensors, sensors, atol=1.0)
    assert piece.figures["passes"] == 2
    assert min(piece.figures["overlap_percent"]) > 90
    assert not piece.notes


def test_one_pass_is_refused():
    with pytest.raises(NotPossible, match="give each pass as a file"):
        Register().apply(Workpiece(scan=Cloud(np.random.default_rng(0).random((100, 3)))))


def test_more_than_ten_passes_are_refused_with_what_to_do():
    points = np.random.default_rng(0).random((110, 3))
    scan = Cloud(points, columns={"view": np.arange(110) % 11})
    with pytest.raises(NotPossible, match="2 to 10 passes and the scan holds 11: register ten of them, save"):
        Register().apply(Workpiece(scan=scan))
