"""place-eyes with photographs of the block with a face; stock tables; the gaze of each eye."""

import dataclasses

import numpy as np
import pytest
from canthus.anatomy.eyes.gaze import pupil_ahead
from canthus.files.photo_marks import PhotoMarks, photo_marks_text
from canthus.geometry.errors import BadFile, BadSetting, NotPossible
from canthus.job.eye_values import eye_values
from canthus.job.run import run
from canthus.steps.eyes.place_eyes import PlaceEyes
from canthus.steps.workpiece import Done, Landmark
from photographs import SIZE, camera

TRUTH = {"left": np.array([32.0, 0.0, 0.0]), "right": np.array([-32.0, 0.0, 0.0])}
OTHERS = {
    "pronasale": (0.0, -45.0, -35.0),
    "subnasale": (0.0, -30.0, -47.0),
    "stomion": (0.0, -28.0, -68.0),
    "cheilion-left": (25.0, -18.0, -68.0),
    "cheilion-right": (-25.0, -18.0, -68.0),
    "tragion-left": (70.0, 75.0, -20.0),
    "tragion-right": (-70.0, 75.0, -20.0),
}
"""Landmarks the block of the fixture lacks, about where a face has them, mm at life size."""


@pytest.fixture(scope="session")
def whole_face(small_face):
    """The block with all the landmarks a photograph is marked by, at 1/6."""
    more = {name: Landmark(tuple(np.array(place) / 6)) for name, place in OTHERS.items()}
    return small_face.but(landmarks={**small_face.landmarks, **more})


def marked(piece, turns=(0, 30, -30), seed=0, off=0.0):
    """Photographs of the piece at life size, marked to a pixel; pupils `off` mm from where they are looking ahead."""
    generator = np.random.default_rng(seed)
    places = {name: np.array(mark.position) / piece.scale for name, mark in piece.landmarks.items()}
    places |= {
        f"{side}-pupil": centre - np.array([0.0, pupil_ahead(12.1), 0.0]) + off for side, centre in TRUTH.items()
    }
    found = []
    for number, turn in enumerate(turns):
        taken = camera(turn, 2, 900, np.array([0.0, 0.0, -30.0]), 6000.0)
        pixels = taken.project(np.array(list(places.values()))) + generator.normal(0, 1, (len(places), 2))
        marks = {name: (float(x), float(y)) for name, (x, y) in zip(places, pixels, strict=True)}
        found.append(PhotoMarks(f"{number}.jpg", SIZE, marks))
    return found


def written(folder, photographs):
    path = folder / "marks.json"
    path.write_text(photo_marks_text(photographs, ".json"), encoding="utf-8")
    return str(path)


def misses(piece):
    return [float(np.linalg.norm(np.array(eye.centre) / piece.scale - TRUTH[eye.side])) for eye in piece.eyes]


def test_photographs_alone_keep_the_bar_and_are_reported(whole_face, tmp_path):
    """0.6 mm at life size: three photographs of 2,000 px marked to a pixel."""
    placed = PlaceEyes(sources="photographs", photographs=written(tmp_path, marked(whole_face))).apply(whole_face)
    assert max(misses(placed)) <= 0.6
    assert all(eye.sources == ("photographs",) for eye in placed.eyes)
    figures = placed.figures
    assert [row["photograph"] for row in figures["photographs"]] == ["0.jpg", "1.jpg", "2.jpg"]
    for row in figures["photographs"]:
        assert row["marks"] == 17
        assert 0.3 < row["reprojection_rms_px"] < 2.0
        assert abs(row["focal_px"] - 6000) < 3 * row["focal_uncertainty_px"]
        assert row["distance_mm_life"] == pytest.approx(900 * row["focal_px"] / 6000, rel=0.15)
    assert len(figures["photograph_marks"]) == 3 * 17
    assert figures["pupils_apart_by_photographs_mm_life"] == pytest.approx(64.0, abs=0.5)
    assert 0.1 < figures["left_pupil_rms_px"] < 3.0
    assert figures["left_off_photographs_mm_life"] == pytest.approx(0.0, abs=1e-9)


def test_together_no_worse_than_the_best(whole_face, tmp_path):
    path = written(tmp_path, marked(whole_face, seed=1))
    generator = np.random.default_rng(2)
    shaken = whole_face.but(
        landmarks={
            name: dataclasses.replace(mark, position=tuple(np.array(mark.position) + generator.normal(0, 0.6 / 6, 3)))
            for name, mark in whole_face.landmarks.items()
        }
    )
    together = PlaceEyes(photographs=path).apply(shaken)
    assert all(eye.sources == ("landmarks", "lids", "photographs", "sclera") for eye in together.eyes)
    alone = [max(misses(PlaceEyes(sources=one, photographs=path).apply(shaken))) for one in ("sclera", "photographs")]
    assert max(misses(together)) <= min(alone) + 0.1  # a tenth is what the sclera's own uncertainty comes to
    assert max(misses(together)) < 0.3
    assert together.eyes[0].uncertainty < PlaceEyes().apply(shaken).eyes[0].uncertainty


def test_without_sclera_photographs_place_better_than_lids(whole_face, tmp_path):
    """A scan that shows nothing between the lids: landmarks and lids are right to a millimetre or so."""
    far = np.abs(whole_face.scan.points[:, 2] * 6) > 12
    blind = whole_face.but(scan=whole_face.scan.kept(far))
    path = written(tmp_path, marked(whole_face, seed=3))
    with_them = PlaceEyes(photographs=path).apply(blind)
    assert "photographs" in with_them.eyes[0].sources
    assert "sclera" not in with_them.eyes[0].sources
    assert max(misses(with_them)) < 0.8
    assert with_them.eyes[0].uncertainty < 0.75 * PlaceEyes().apply(blind).eyes[0].uncertainty
    assert not any("compare it with a photograph" in note for note in with_them.notes)


def test_one_photograph_is_closed_by_the_other_sources(whole_face, tmp_path):
    path = written(tmp_path, marked(whole_face, turns=(10,)))
    placed = PlaceEyes(photographs=path).apply(whole_face)
    assert max(misses(placed)) < 0.5
    assert placed.figures["left_photographs_uncertainty_mm_life"] > 10
    only = PlaceEyes(sources="photographs", photographs=path).apply(whole_face)
    assert only.eyes[0].uncertainty * 6 > 10  # says that it does not know


def test_eyes_whose_corners_the_scan_lacks_are_placed_by_photographs(whole_face, tmp_path):
    path = written(tmp_path, marked(whole_face))
    marks = {name: mark for name, mark in whole_face.landmarks.items() if "canthion" not in name}
    blind = whole_face.but(landmarks=marks, history=(Done("landmarks", {}),))
    assert PlaceEyes().apply(blind).eyes == ()
    placed = PlaceEyes(photographs=path).apply(blind)
    assert [eye.sources for eye in placed.eyes] == [("photographs",)] * 2
    assert max(misses(placed)) < 0.8


def test_what_cannot_be_used_is_said(whole_face, tmp_path):
    path = written(tmp_path, marked(whole_face))
    with pytest.raises(BadSetting, match="sources=photographs needs the marks"):
        PlaceEyes(sources="photographs").apply(whole_face)
    bare = whole_face.but(landmarks={"vertex": Landmark((0.0, 0.0, 20.0))})
    with pytest.raises(NotPossible, match="none of the landmarks marked in the photographs"):
        PlaceEyes(photographs=path).apply(bare)
    with pytest.raises(BadFile, match="cannot be read"):
        PlaceEyes(photographs=str(tmp_path / "gone.json")).apply(whole_face)
    few = [dataclasses.replace(each, marks=dict(list(each.marks.items())[:3])) for each in marked(whole_face)]
    useless = written(tmp_path, few)
    with pytest.raises(NotPossible, match=r"do not show both eyes: 0\.jpg shows 3"):
        PlaceEyes(sources="photographs", photographs=useless).apply(whole_face)
    placed = PlaceEyes(photographs=useless).apply(whole_face)
    assert any("no photograph of marks.json could be used" in note for note in placed.notes)
    assert max(misses(placed)) < 0.5
    blind = [
        dataclasses.replace(each, marks={name: at for name, at in each.marks.items() if name != "left-pupil"})
        for each in marked(whole_face)
    ]
    half = PlaceEyes(photographs=written(tmp_path, blind)).apply(whole_face)
    assert any("no photograph shows the pupil of the left eye" in note for note in half.notes)
    assert ["photographs" in eye.sources for eye in half.eyes] == [False, True]


def test_landmarks_beside_the_eye_give_way_to_photographs(whole_face, tmp_path):
    """The left eye's four landmarks 9 mm too high and 6 mm outwards, as where a brow was taken for a lid."""
    path = written(tmp_path, marked(whole_face))
    marks = {
        name: dataclasses.replace(mark, position=tuple(np.array(mark.position) + np.array([6.0, 0.0, 9.0]) / 6))
        if name.endswith("left") and ("canthion" in name or "palpebrale" in name)
        else mark
        for name, mark in whole_face.landmarks.items()
    }
    misled = whole_face.but(landmarks=marks)
    assert misses(PlaceEyes(sources="landmarks").apply(misled))[0] > 9
    placed = PlaceEyes(photographs=path).apply(misled)
    left, right = placed.eyes
    assert "landmarks" not in left.sources
    assert right.sources[0] == "landmarks"
    assert misses(placed)[0] < 1.0
    assert any("left eye far from where the landmarks of its lids do" in note for note in placed.notes)


def test_a_lid_that_was_taken_for_shut_is_seen_open(whole_face, tmp_path):
    """Both upper lids' middles proposed 9 mm too low, as on a scan whose lashes hide the opening."""
    path = written(tmp_path, marked(whole_face))
    marks = {
        name: dataclasses.replace(mark, position=tuple(np.array(mark.position) - [0, 0, 9 / 6]), source="proposed")
        if "superius" in name
        else mark
        for name, mark in whole_face.landmarks.items()
    }
    shut = whole_face.but(landmarks=marks)
    assert all("sclera" not in eye.sources for eye in PlaceEyes().apply(shut).eyes)
    placed = PlaceEyes(photographs=path).apply(shut)
    assert all("sclera" in eye.sources for eye in placed.eyes)
    assert max(misses(placed)) < 0.3
    for side in TRUTH:
        name = f"palpebrale-superius-{side}"
        off = np.subtract(placed.landmarks[name].position, whole_face.landmarks[name].position) * 6
        assert np.linalg.norm(off) < 1.5
        assert placed.landmarks[name].source == "photographs"
        assert f"{name} was moved to where the photographs see it" in placed.notes
    by_hand = {name: dataclasses.replace(mark, source="placed") for name, mark in marks.items()}
    kept = PlaceEyes(photographs=path).apply(whole_face.but(landmarks=by_hand))
    assert kept.landmarks == by_hand
    assert "palpebrale-superius-left stays where it was placed: move it, or mark the photographs anew" in kept.notes


def test_photographs_at_odds_with_the_scan_are_told(whole_face, tmp_path):
    """Eyes that looked 25 degrees aside while the file says ahead: the pupils lie 4 mm beside where they should."""
    aside = np.radians(25) * pupil_ahead(12.1) * np.array([1.0, 0.0, 0.0])
    photographs = marked(whole_face, off=aside)
    placed = PlaceEyes(photographs=written(tmp_path, photographs)).apply(whole_face)
    assert sum("from where the other sources do" in note for note in placed.notes) == 2
    assert max(misses(placed)) < 0.5
    told = [dataclasses.replace(each, gaze=(25.0, 0.0)) for each in photographs]
    assert not any(
        "other sources" in note for note in PlaceEyes(photographs=written(tmp_path, told)).apply(whole_face).notes
    )


def test_each_eye_looks_where_it_is_told(small_face):
    left, right = PlaceEyes(left_gaze_across=10, right_gaze_across=-5, right_gaze_up=20).apply(small_face).eyes
    np.testing.assert_allclose(left.gaze, [np.sin(np.radians(10)), -np.cos(np.radians(10)), 0], atol=1e-12)
    assert np.degrees(np.arcsin(right.gaze[2])) == pytest.approx(20)
    assert np.degrees(np.arctan2(right.gaze[0], -right.gaze[1])) == pytest.approx(-5)
    met = PlaceEyes(gaze_distance=600, left_gaze_across=4).apply(small_face).eyes
    across = [np.degrees(np.arctan2(eye.gaze[0], -eye.gaze[1])) for eye in met]
    assert across[0] + across[1] == pytest.approx(4, abs=0.1)  # the right one's alone is as far as the left one's was
    with pytest.raises(BadSetting, match="left_gaze_up runs from -45 to 45"):
        PlaceEyes(left_gaze_up=50)


def test_eyes_are_taken_from_a_table_of_ones_own(small_face, tmp_path):
    """A globe of 24.2 at 1/6 is 4.033; 4.2 is 4.1 % more."""
    table = tmp_path / "eyes.toml"
    table.write_text('["glass, grey"]\ndiameter = 4.2\n[small]\ndiameter = 3\n[doll]\ndiameter = 6\n', encoding="utf-8")
    placed = PlaceEyes(stock=str(table)).apply(small_face)
    assert placed.figures["eye"] == "glass, grey"
    assert placed.eyes[0].diameter == 4.2
    assert placed.figures["eye_size_error_percent"] == pytest.approx(100 * (4.2 * 6 / 24.2 - 1))
    rows = placed.figures["eyes_to_choose_from"]
    assert [row["eye"] for row in rows] == ["small", "glass, grey", "doll"]
    assert rows[2]["size_error_percent"] == pytest.approx(100 * (36 / 24.2 - 1))
    assert PlaceEyes().apply(small_face).figures["eye"] == "4 mm"
    for text, line in (
        ("[a]\ncolour = 1\n", "not a table of eyes"),
        ("[a]\ndiameter = -2\n", "eye a needs a diameter above 0"),
        ("", "holds no eyes"),
        ("[a\n", "not a table of eyes"),
    ):
        table.write_text(text, encoding="utf-8")
        with pytest.raises(BadFile, match=line):
            PlaceEyes(stock=str(table)).apply(small_face)
    with pytest.raises(BadSetting, match="series and stock are both given"):
        PlaceEyes(stock=str(table), series="4").apply(small_face)


def test_the_report_says_where_the_pupils_depth_is_from(whole_face, tmp_path):
    """3.05 mm in an eye of 24 is 3.0754 in one of 24.2."""
    path = written(tmp_path, marked(whole_face))
    values = eye_values(run([PlaceEyes(photographs=path)], whole_face))
    (depth,) = [each for each in values if each["what"].startswith("pupil behind")]
    assert depth["value"] == pytest.approx(3.0754, abs=1e-4)
    assert "Le Grand" in depth["source"]
    without = eye_values(run([PlaceEyes()], whole_face))
    assert [each for each in values if each not in without and each["what"] != "globe's centre, uncertain by"] == [
        depth
    ]
