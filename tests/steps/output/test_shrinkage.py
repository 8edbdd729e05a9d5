"""What the resin shrinks by is made up for in every exported part: after shrinking it measures what was set."""

import numpy as np
import pytest
from canthus.files.reading import read
from canthus.geometry.measures import volume
from canthus.geometry.solids.booleans import union
from canthus.geometry.solids.primitives import box, cylinder, icosphere, sphere
from canthus.geometry.solids.sections import plane, section
from canthus.job.run import run
from canthus.steps.output.check import Check
from canthus.steps.output.export import Export
from canthus.steps.output.neck import Neck
from canthus.steps.output.shrinkage import as_exported
from canthus.steps.pose.scale import Scale
from canthus.steps.workpiece import Check as Finding
from canthus.steps.workpiece import Eye, Landmark, Workpiece

SKULL = sphere(1.0, sag=0.005).moved(np.array([[77, 0, 0, 0], [0, 100, 0, 0], [0, 0, 116, 15.0], [0, 0, 0, 1]], float))
LIFE = Workpiece(name="bust", head=union(SKULL, cylinder((0, 20, -175), (0, 20, 0), 63.3, 0.05)))
LARGER = 1 / (1 - 0.02)


def exported(folder, neck, shrinkage=2.0, eyes=()):
    """The workpiece of a bust with that joint, and its head as read back from the STL that was written."""
    begun = LIFE.but(eyes=eyes)
    piece = run([Scale(ratio="1/6", shrinkage=shrinkage), neck, Export(folder=str(folder))], begun)
    return piece, read(folder / "head.stl")


def radii(piece, head, along, outline=0):
    """Distances from the joint's axis, on a section of the exported head so far above the exported cut."""
    done = next(done for done in piece.history if done.name == "neck").figures
    growth = as_exported(piece).frame[0, 0] / piece.frame[0, 0]
    cut = plane(growth * np.asarray(done["cut_at_mm"]), done["cut_up"])
    return np.linalg.norm(section(head, cut.raised(along))[outline].points, axis=1)


def test_a_peg_of_5_mm_leaves_larger_by_what_the_resin_shrinks(tmp_path):
    piece, head = exported(tmp_path, Neck(diameter=5.0, length=6.0))
    assert 2 * radii(piece, head, -3.0).max() == pytest.approx(5.0 * LARGER, abs=0.01)
    assert 2 * radii(piece, head, -3.0).max() * 0.98 == pytest.approx(5.0, abs=0.01)
    done = next(done for done in piece.history if done.name == "neck").figures
    assert done["peg_diameter_mm"] == 5.0  # what is told is what it will be in the hand
    assert volume(head) == pytest.approx(LARGER**3 * volume(piece.head), rel=1e-6)
    assert piece.history[-1].figures["larger_by_percent"] == pytest.approx(2.0408, abs=1e-4)


def test_a_bore_for_a_bought_magnet_takes_it_after_shrinking(tmp_path):
    piece, head = exported(tmp_path, Neck(kind="magnet", diameter=6.0, length=2.0, fit="slip"))
    assert 2 * radii(piece, head, 1.0, outline=1).min() * 0.98 == pytest.approx(6.18, abs=0.01)


def test_no_shrinkage_leaves_the_parts_as_they_are(tmp_path):
    piece, head = exported(tmp_path, Neck(diameter=5.0), shrinkage=0.0)
    assert as_exported(piece) is piece
    np.testing.assert_allclose(np.ptp(head.vertices, axis=0), np.ptp(piece.head.vertices, axis=0), rtol=1e-6)


def test_eyes_landmarks_and_the_places_of_findings_go_along_and_only_once():
    eye = Eye("left", (5.0, -12.0, 3.0), diameter=4.0, clearance=0.1)
    finding = Finding("head: least wall", 0.3, 0.4, "mm", False, (1.0, 2.0, 3.0))
    piece = Workpiece(
        head=icosphere(2, 10.0),
        eyes=(eye,),
        parts={"eye-left": icosphere(2, 2.0)},
        landmarks={"vertex": Landmark((0.0, 0.0, 19.0))},
        checks=(finding,),
        scale=1 / 6,
        shrinkage=0.02,
    )
    sent = as_exported(piece)
    assert sent.eyes[0].diameter == pytest.approx(4.0 * LARGER)
    np.testing.assert_allclose(sent.eyes[0].centre, np.array(eye.centre) * LARGER)
    assert np.ptp(sent.parts["eye-left"].vertices[:, 0]) == pytest.approx(4.0 * LARGER, rel=1e-3)
    assert sent.landmarks["vertex"].position[2] == pytest.approx(19.0 * LARGER)
    assert sent.checks[0].value == 0.3
    np.testing.assert_allclose(sent.checks[0].where, np.array(finding.where) * LARGER)
    assert sent.scale == piece.scale
    assert as_exported(sent) is sent


def test_the_gauge_is_written_at_its_own_size(tmp_path):
    plain, made_up = tmp_path / "plain", tmp_path / "made-up"
    for folder, shrinkage in ((plain, 0.0), (made_up, 0.02)):
        Export(folder=str(folder), gauge=True).apply(Workpiece(head=icosphere(2, 10.0), shrinkage=shrinkage))
    same = (read(each / "gauge-plate.stl").vertices for each in (plain, made_up))
    np.testing.assert_array_equal(*same)


def test_what_just_fits_the_plate_does_not_when_it_is_larger():
    """A block 142 mm wide on a plate of 143: printed 2 % larger it is 144.9 mm; resin is poured for the larger one."""
    block = Workpiece(head=box((0, 0, 0), (142, 60, 40)))
    found = {shrinkage: Check().apply(block.but(shrinkage=shrinkage)) for shrinkage in (0.0, 0.02)}
    plates = {
        shrinkage: next(each for each in done.checks if each.name == "head: share of the plate")
        for shrinkage, done in found.items()
    }
    assert plates[0.0].ok
    assert not plates[0.02].ok
    assert found[0.02].figures["resin_ml"] == pytest.approx(LARGER**3 * found[0.0].figures["resin_ml"])
