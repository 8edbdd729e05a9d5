"""The steps of posing: landmarks by hand and from files, pose, scale, measure."""

import dataclasses

import numpy as np
import pytest
from canthus.anatomy.face.landmark_files import landmarks_text
from canthus.anatomy.face.proportions import mean_head
from canthus.geometry.errors import BadFile, BadSetting, NotReady
from canthus.geometry.progress import Cancelled, Progress
from canthus.geometry.solids.primitives import icosphere
from canthus.geometry.transforms import applied
from canthus.steps.pose.landmarks import Landmarks
from canthus.steps.pose.measure import MeasureHead
from canthus.steps.pose.pose import Pose
from canthus.steps.pose.scale import Scale
from canthus.steps.pose.surface import needed_surface
from canthus.steps.workpiece import Done, Eye, Landmark, Workpiece
from demo_heads import any_pose, demo_head


@pytest.fixture
def marked():
    marks = {name: Landmark(tuple(place.tolist())) for name, place in mean_head().items()}
    return Workpiece(head=icosphere(3, 100.0), landmarks=marks)


def test_nothing_is_read_off_what_closing_filled_in():
    """A ball of radius 100 filled in below z = -60: but for 2.5 mm beside what was scanned it is not looked at."""
    ball = icosphere(6, 100.0)
    confidence = np.where(ball.vertices[:, 2] > -60.0, 1.0, 0.0)
    head = dataclasses.replace(ball, columns={"confidence": confidence})
    for scale in (1.0, 1 / 6):
        piece = Workpiece(head=head.moved(np.diag([scale, scale, scale, 1.0])), scale=scale)
        lowest = needed_surface(piece).vertices[:, 2].min() / scale
        assert -63.0 < lowest < -60.0
    assert len(needed_surface(Workpiece(head=ball)).triangles) == len(ball.triangles)


def placed(piece, name):
    return np.array(piece.landmarks[name].position)


def test_landmarks_from_a_file_go_through_the_frame(tmp_path):
    """The file speaks the capture's own centimetres; the workpiece was turned since."""
    motion = any_pose(1) @ np.diag([10.0, 10.0, 10.0, 1.0])
    file = tmp_path / "marks.csv"
    file.write_text(landmarks_text({"pronasale": (1.0, 2.0, 3.0, 1.0)}, ".csv"))
    piece = Landmarks(file=str(file), propose=False).apply(Workpiece(frame=motion))
    np.testing.assert_allclose(placed(piece, "pronasale"), applied(motion, np.array([1.0, 2.0, 3.0])))
    assert piece.landmarks["pronasale"].source == "file"


@pytest.mark.parametrize("ending", ["json", "csv"])
def test_saved_landmarks_come_back_to_the_same_places(tmp_path, marked, ending):
    """Written in the capture's own metres, whatever was done to the workpiece since."""
    piece = marked.moved(any_pose(7)).but(frame=any_pose(7) @ np.diag([1000.0, 1000.0, 1000.0, 1.0]))
    file = tmp_path / f"marks.{ending}"
    Landmarks(propose=False, save=str(file)).apply(piece)
    back = Landmarks(propose=False, keep=False, file=str(file)).apply(piece)
    for name in mean_head():
        np.testing.assert_allclose(placed(back, name), placed(piece, name), atol=1e-5)
    assert [each.name for each in tmp_path.iterdir()] == [file.name]
    with pytest.raises(BadFile, match="json or"):
        Landmarks(propose=False, save=str(tmp_path / "marks.txt")).apply(piece)


def test_landmarks_by_hand_beat_the_file_and_stay():
    text = "pronasale=1,2,3; stomion=4,5,-6.5"
    piece = Landmarks(at=text, propose=False).apply(Workpiece())
    np.testing.assert_allclose(placed(piece, "stomion"), [4, 5, -6.5])
    again = Landmarks(propose=False).apply(piece)
    assert again.landmarks == piece.landmarks
    assert Landmarks(propose=False, keep=False).apply(piece).landmarks == {}


@pytest.mark.parametrize(
    "text", ["pronasale=1,2", "pronasale 1,2,3", "nose=1,2,3", "pronasale=1,2,nan", "pronasale=a,b,c"]
)
def test_a_landmark_that_cannot_be_read_is_refused(text):
    with pytest.raises(BadSetting):
        Landmarks(at=text, propose=False).apply(Workpiece())


def test_no_surface_no_proposals():
    with pytest.raises(NotReady, match="close"):
        Landmarks().apply(Workpiece())


@pytest.mark.parametrize(("units", "grown"), [("auto", 1 / 0.4), ("in", 1.0)])
def test_a_face_too_small_for_any_person_is_brought_to_size_where_its_unit_was_a_guess(units, grown):
    """A bust of no unit: a head at 0.4, its own face a seventh smaller than a mean adult's. A unit given stands."""
    head = demo_head(31)
    small = Workpiece(head=head.mesh.moved(np.diag([0.4, 0.4, 0.4, 1.0])), history=(Done("load", {"units": units}),))
    by_hand = np.array(head.truth.landmarks["gnathion"]) * 0.4
    piece = Landmarks(at="gnathion={},{},{}".format(*by_hand)).apply(small)
    assert any("times an adult's" in note for note in piece.notes)
    assert np.ptp(piece.head.vertices, axis=0) == pytest.approx(
        grown * np.ptp(small.head.vertices, axis=0), rel=0.17 if units == "auto" else 1e-9
    )
    factor = np.ptp(piece.head.vertices[:, 2]) / np.ptp(small.head.vertices[:, 2])
    np.testing.assert_allclose(piece.frame[:3, :3], factor * np.eye(3), atol=1e-9)
    np.testing.assert_allclose(placed(piece, "gnathion"), factor * by_hand, rtol=1e-6)


def test_a_head_is_proposed_posed_scaled_and_measured():
    head = demo_head(31)
    motion = any_pose(2)
    start = Workpiece(head=head.mesh.moved(motion))
    piece = Pose().apply(Landmarks().apply(start))
    turn = (piece.frame @ motion)[:3, :3]
    assert np.degrees(np.arccos((np.trace(turn) - 1) / 2)) < 4.0
    assert np.linalg.norm(placed(piece, "pronasale") - head.truth.landmarks["pronasale"]) < 8.0
    sixth = Scale(ratio="1/6").apply(piece)
    np.testing.assert_allclose(sixth.head.vertices * 6, piece.head.vertices, atol=1e-9)
    rows = {row["name"]: row for row in MeasureHead().apply(sixth).figures["measures"]}
    true = head.truth.landmarks
    for name, first, second in (
        ("between outer canthi", "exocanthion-left", "exocanthion-right"),
        ("sellion to gnathion", "sellion", "gnathion"),
    ):
        assert rows[name]["mm"] == pytest.approx(np.linalg.norm(true[first] - true[second]), abs=3.0)


def test_stopping_leaves_the_workpiece_alone():
    def stop(fraction, what):
        raise Cancelled

    piece = Workpiece(head=icosphere(3, 100.0))
    with pytest.raises(Cancelled):
        Landmarks().apply(piece, Progress(stop))
    assert piece.landmarks == {}


@pytest.mark.parametrize("scale", [1.0, 1 / 6])
def test_pose_undoes_any_motion_at_any_size(marked, scale):
    piece = Scale(ratio=scale).apply(marked).moved(any_pose(3))
    posed = Pose().apply(piece)
    for name, place in mean_head().items():
        np.testing.assert_allclose(placed(posed, name), place * scale, atol=1e-9)
    assert posed.figures["frankfurt"]
    assert posed.figures["posed_by"] == "tragion-left, tragion-right, orbitale-left, orbitale-right"
    said = next(note for note in posed.notes if "Frankfurt" in note)
    assert "both tragia and orbitale-left and orbitale-right" in said
    assert f"{posed.figures['nod_uncertainty_deg']:.1f} degrees" in said


def test_weak_landmarks_do_not_pose(marked):
    weak = {name: dataclasses.replace(mark, confidence=0.4) for name, mark in marked.landmarks.items()}
    with pytest.raises(NotReady, match="by hand"):
        Pose().apply(marked.but(landmarks=weak))


def test_up_and_front_pose_a_hopeless_scan():
    ball = Workpiece(head=icosphere(2, 90.0))
    posed = Pose(up="0,1,0", front="0,0,1").apply(ball)
    np.testing.assert_allclose(applied(posed.frame, np.array([0.0, 0.0, 50.0])), [0, -50, 0], atol=1e-9)
    with pytest.raises(BadSetting, match="together"):
        Pose(up="0,1,0").apply(ball)


# Life-size value and the same at 1/12, 1/6, 1/4, as reference_values.md section 3 prints them.
@pytest.mark.parametrize(
    ("life", "ratio", "printed"),
    [
        (199.5, "1/12", 16.62),
        (199.5, "1:6", 33.25),
        (232.0, 0.25, 58.0),
        (24.2, "1/6", 4.03),
        (304.8 * 6, "1/6", 304.8),
    ],
)
def test_ratios_are_those_of_the_scale_table(life, ratio, printed):
    piece = Workpiece(landmarks={"vertex": Landmark((0.0, 0.0, life))})
    assert placed(Scale(ratio=ratio).apply(piece), "vertex")[2] == pytest.approx(printed, abs=0.006)


def test_scaling_twice_means_of_life_size_and_eyes_go_along(marked):
    eye = Eye("left", (31.0, -70.0, 17.0), diameter=24.0, clearance=0.6)
    twice = Scale(ratio="1/4").apply(Scale(ratio="1/6").apply(marked.but(eyes=(eye,))))
    assert twice.scale == pytest.approx(0.25)
    assert twice.eyes[0].diameter == pytest.approx(6.0)
    assert twice.eyes[0].clearance == pytest.approx(0.15)


def test_to_a_head_height_or_an_eye(marked):
    tall = Scale(head_height=38.67).apply(marked)
    assert placed(tall, "vertex")[2] - placed(tall, "gnathion")[2] == pytest.approx(38.67)
    assert Scale(eye_diameter=4.0).apply(marked).scale == pytest.approx(4.0 / 24.2)
    with pytest.raises(BadSetting, match="not both"):
        Scale(head_height=38.0, eye_diameter=4.0).apply(marked)
    with pytest.raises(NotReady, match="vertex"):
        Scale(head_height=38.0).apply(Workpiece())


def test_shrinkage_is_made_up_for(marked):
    print_size = Scale(ratio="1/6", shrinkage=2.0).apply(marked)
    assert print_size.scale == pytest.approx(1 / 6)
    assert print_size.shrinkage == pytest.approx(0.02)
    assert placed(print_size, "vertex")[2] == pytest.approx(placed(marked, "vertex")[2] / 6)  # the finished print
    assert any("exported 2.04 % larger" in note for note in print_size.notes)  # 1 / 0.98
    assert Scale(ratio="1/6").apply(print_size).shrinkage == 0.0


@pytest.mark.parametrize("ratio", ["0", "1/0", "five", -1])
def test_no_ratio_no_scale(ratio):
    with pytest.raises(BadSetting):
        Scale(ratio=ratio)


def test_measures_flag_a_unit_error_and_correct_nothing(marked):
    inches = marked.moved(np.diag([2.54, 2.54, 2.54, 1.0]))
    done = MeasureHead().apply(inches)
    assert [check.ok for check in done.checks] == [False, True]
    assert not any(check.grave for check in done.checks)
    assert done.head is inches.head
    assert any("unit" in note for note in done.notes)
    assert all(check.ok for check in MeasureHead().apply(marked).checks)


def test_asymmetry_is_zero_on_a_ball_and_seen_on_a_shifted_one(marked):
    done = MeasureHead(asymmetry=True).apply(marked)
    assert np.abs(done.head.columns["asymmetry_mm"]).max() < 1e-6
    shift = np.eye(4)
    shift[0, 3] = 2.0
    bare = Workpiece(head=marked.head.moved(shift), landmarks=marked.landmarks)
    away = MeasureHead(asymmetry=True).apply(bare).head.columns["asymmetry_mm"]
    assert away[np.argmax(bare.head.vertices[:, 0])] == pytest.approx(4.0, abs=0.2)


def test_nothing_to_measure():
    with pytest.raises(NotReady, match="landmarks"):
        MeasureHead().apply(Workpiece())
