"""register by points marked in the passes: a known motion, in the captures' own unit, undone."""

import numpy as np
import pytest
from canthus.geometry.cloud import Cloud, joined
from canthus.geometry.errors import BadFile, NotPossible
from canthus.geometry.transforms import applied, transform
from canthus.job.run import run
from canthus.steps.intake.register import Register
from canthus.steps.workpiece import Workpiece
from geometry.test_marked_placing import MOVES, WAYS, marked, moved_passes
from geometry.test_registration import lump

CENTIMETRES = transform(np.eye(3) * 10.0)


def written(path, marks):
    """The marks as a file, in centimetres as the capture is."""
    rows = [
        f"{name},{number},{','.join(map(str, place / 10))}"
        for number, own in enumerate(marks, start=1)
        for name, place in own.items()
    ]
    path.write_text("\n".join(["point,pass,x,y,z", *rows]))
    return str(path)


def scanned(passes):
    return Workpiece(scan=joined([Cloud(points) for points in passes]), units_in="cm", frame=CENTIMETRES)


def test_the_passes_come_back_and_the_figures_tell(tmp_path):
    step = Register(points=written(tmp_path / "marks.csv", marked(1.5)))
    piece = step.apply(scanned(moved_passes()))
    true = np.concatenate([lump(8000, k, way) for k, way in enumerate(WAYS)])
    assert np.linalg.norm(piece.scan.points - true, axis=1).max() < 0.15
    assert max(piece.figures["rms_mm"]) < 0.15
    assert min(piece.figures["overlap_percent"]) > 80
    assert len(piece.figures["points_apart_mm"]) == 3
    assert not piece.notes


def test_the_pass_that_does_not_belong_is_named(tmp_path):
    passes, marks = moved_passes(), marked(1.5)
    squashed = applied(MOVES[1], lump(8000, 5, WAYS[1]) * (1.0, 0.8, 1.15))
    passes.insert(1, squashed)
    marks.insert(1, marks[1])
    piece = Register(points=written(tmp_path / "marks.csv", marks)).apply(scanned(passes))
    assert [note[:20] for note in piece.notes] == ["Pass 2 does not fit:"]
    assert piece.figures["rms_mm"][1] > 3 * max(piece.figures["rms_mm"][k] for k in (0, 2, 3))


def test_a_pass_without_points_is_said(tmp_path):
    step = Register(points=written(tmp_path / "marks.csv", [*marked(1.5)[:2], {}]))
    third = applied(transform(np.eye(3), (1.0, -2.0, 1.5)), lump(8000, 2, WAYS[2]))
    piece = step.apply(scanned([*moved_passes()[:2], third]))
    assert piece.notes == ("No point is marked in pass 3: it was placed by its form.",)
    assert piece.figures["points_apart_mm"][2] is None


def test_a_pass_that_is_not_there_is_refused(tmp_path):
    step = Register(points=written(tmp_path / "marks.csv", [*marked(0.0), {"a": np.zeros(3)}]))
    with pytest.raises(BadFile, match=r"there is no pass 4: the scan holds 1, 2, 3"):
        step.apply(scanned(moved_passes(100)))


def test_passes_moved_before_are_refused(tmp_path):
    """The points are the captures', so that they hold only once."""
    step = Register(points=written(tmp_path / "marks.csv", marked(1.5)))
    once = run([step], scanned(moved_passes(3000)))
    with pytest.raises(NotPossible, match="moved already"):
        step.apply(once)
