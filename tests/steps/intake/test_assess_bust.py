"""assess against a known test bust: the demo head, a formula, scanned with a known scale error and noise."""

import numpy as np
import pytest
from canthus.files.writing import write
from canthus.geometry.cloud import Cloud
from canthus.geometry.distances.sampling import spread_over
from canthus.geometry.errors import BadFile, NotPossible
from canthus.geometry.mesh import Mesh
from canthus.geometry.solids.primitives import box
from canthus.geometry.transforms import applied
from canthus.steps.intake.assess import Assess
from canthus.steps.workpiece import Workpiece
from demo_heads import any_pose, demo_head


@pytest.fixture(scope="module")
def bust(tmp_path_factory):
    path = tmp_path_factory.mktemp("bust") / "bust.ply"
    mesh = demo_head(0, 2.5).mesh
    write(path, Mesh(mesh.vertices, mesh.triangles))
    return str(path)


def scan(size, noise, pose=1, strays=None):
    """Points of the bust as a scanner sees them that makes all `size` times as large; noise along the normals, mm."""
    true = spread_over(demo_head(0, 2.5).mesh, 2.0)
    along = noise * np.random.default_rng(0).standard_normal((len(true), 1))
    points = true.points * size + along * true.normals
    if strays is not None:
        points = np.concatenate([points, strays])
    return Workpiece(scan=Cloud(applied(any_pose(pose), points)))


def against_the_bust(piece):
    return [note for note in piece.notes if note.startswith("Against the test bust")]


def test_a_true_scan_is_as_far_off_as_its_noise(bust):
    piece = Assess(bust=bust).apply(scan(1.0, 0.1))
    found = piece.figures
    assert abs(found["bust_scale_error_percent"]) < 0.02
    assert found["bust_rms_mm"] == pytest.approx(0.1, rel=0.05)
    assert found["bust_p95_mm"] == pytest.approx(0.196, rel=0.05)  # 1.96 deviations of a normal distribution
    assert abs(found["bust_mean_mm"]) < 0.01
    assert found["bust_met_percent"] == 100
    assert not against_the_bust(piece)


@pytest.mark.parametrize(("size", "word"), [(1.01, "% too large"), (0.99, "% too small")])
def test_a_scale_error_is_told_apart_from_deviation(bust, size, word):
    piece = Assess(bust=bust).apply(scan(size, 0.1, pose=2))
    found = piece.figures
    assert found["bust_scale_error_percent"] == pytest.approx(100 * (size - 1), abs=0.02)
    assert found["bust_resized_rms_mm"] == pytest.approx(0.1, rel=0.05)
    assert found["bust_rms_mm"] > 0.5
    assert np.sign(found["bust_mean_mm"]) == np.sign(size - 1)
    (note,) = against_the_bust(piece)
    assert word in note
    assert "calibrate the scanner's scale" in note


def test_a_noisy_scanner_wants_calibrating_and_the_table_does_not_count(bust):
    low = demo_head(0, 2.5).mesh.vertices[:, 2].min() - 10
    table = np.column_stack([np.random.default_rng(1).uniform(-150, 150, (2500, 2)), np.full(2500, low)])
    piece = Assess(bust=bust).apply(scan(1.0, 0.4, pose=3, strays=table))
    assert 80 < piece.figures["bust_met_percent"] < 98
    assert abs(piece.figures["bust_scale_error_percent"]) < 0.1
    assert piece.figures["bust_p95_mm"] == pytest.approx(1.96 * 0.4, rel=0.1)
    (note,) = against_the_bust(piece)
    assert "5 % of the scan lie more than" in note


@pytest.mark.parametrize("factor", [0.001, 1000.0])
def test_another_unit_is_one_line(bust, factor):
    piece = scan(factor, 0.0)
    with pytest.raises(NotPossible, match=r"bust\.ply: the scan is .* times as large as the known body: check"):
        Assess(bust=bust).apply(piece)


def test_a_body_that_is_something_else_is_one_line(tmp_path):
    write(tmp_path / "box.ply", box((0, 0, 0), (400, 60, 60)))
    with pytest.raises(NotPossible, match=r"box\.ply: \d+ % of the scan lie within 5 mm"):
        Assess(bust=str(tmp_path / "box.ply")).apply(scan(1.0, 0.05))


def test_a_file_that_is_no_bust_is_one_line(tmp_path):
    piece = Workpiece(scan=Cloud(np.random.default_rng(0).random((500, 3))))
    with pytest.raises(BadFile, match="there is no such file"):
        Assess(bust=str(tmp_path / "missing.stl")).apply(piece)
    write(tmp_path / "points.ply", Cloud(np.eye(3)))
    with pytest.raises(BadFile, match=r"points\.ply: holds points without faces"):
        Assess(bust=str(tmp_path / "points.ply")).apply(piece)
