"""Marks in photographs: written and read back, read by the standard library alone, every fault named."""

import csv
import dataclasses
import json

import pytest
from canthus.files.photo_marks import PhotoMarks, photo_marks_text, read_photo_marks
from canthus.geometry.errors import BadFile

NAMES = ("pronasale", "stomion", "exocanthion-left")
TWO = [
    PhotoMarks("front.jpg", (2000, 3000), {"pronasale": (1004.5, 1710.25), "left-pupil": (1230.0, 1321.0)}, "camera"),
    PhotoMarks(
        'side, "left".png',
        (1500, 1000),
        {"stomion": (0.5, 999.5)},
        (10.0, -5.0),
        "85 mm",
        7000.0,
        (6000, 4000),
        (3200.0, 400.5),
    ),
]


@pytest.mark.parametrize("ending", [".json", ".csv"])
def test_written_and_read_back_the_same(tmp_path, ending):
    path = tmp_path / f"marks{ending}"
    path.write_text(photo_marks_text(TWO, ending), encoding="utf-8")
    assert read_photo_marks(path, NAMES) == TWO


def test_the_files_are_plain_json_and_csv():
    """Read by the standard library as any other program would."""
    whole = json.loads(photo_marks_text(TWO, ".json"))
    assert whole["photographs"][0]["marks"]["pronasale"] == [1004.5, 1710.25]
    rows = list(csv.DictReader(photo_marks_text(TWO, ".csv").splitlines()))
    assert [row["name"] for row in rows] == ["pronasale", "left-pupil", "stomion"]
    assert (rows[2]["photograph"], rows[2]["gaze"], rows[2]["focal_px"]) == ('side, "left".png', "10 -5", "7000")
    assert (rows[2]["whole"], rows[2]["cut_at"], rows[0]["whole"]) == ("6000 4000", "3200 400.5", "")


def test_what_may_be_left_out_has_its_plain_meaning(tmp_path):
    path = tmp_path / "marks.csv"
    path.write_text("photograph,width,height,name,x,y\na.jpg,100,200,stomion,50,60\n", encoding="utf-8")
    assert read_photo_marks(path, NAMES) == [PhotoMarks("a.jpg", (100, 200), {"stomion": (50.0, 60.0)})]


def entry(**changes):
    whole = {"file": "a.jpg", "width": 100, "height": 200, "marks": {"stomion": [50, 60]}, **changes}
    return {name: value for name, value in whole.items() if value is not None}


FAULTS = {
    "no list": ({"pictures": []}, "an object with photographs"),
    "nothing": ({"photographs": []}, "holds 0 photographs: give 1 to 8"),
    "nine": ({"photographs": [entry(file=f"{n}.jpg") for n in range(9)]}, "holds 9 photographs"),
    "no name": ({"photographs": [entry(file="")]}, "photograph 1: the photograph has no file name"),
    "no size": ({"photographs": [entry(width=None)]}, "width is None: give pixels from 1"),
    "half a pixel": ({"photographs": [entry(width=100.5)]}, "whole pixels"),
    "a stranger": ({"photographs": [entry(marks={"elbow": [1, 1]})]}, "photograph 1, elbow: no mark called 'elbow'"),
    "a word": ({"photographs": [entry(marks={"stomion": ["a", 1]})]}, "is no pixel"),
    "one number": ({"photographs": [entry(marks={"stomion": [1]})]}, "is no pixel"),
    "outside": ({"photographs": [entry(marks={"stomion": [50, 201]})]}, "outside the 100 x 200"),
    "no number": ({"photographs": [entry(marks={"stomion": [float("nan"), 20]})]}, "outside the 100 x 200"),
    "squint": ({"photographs": [entry(gaze="aside")]}, "gaze is 'aside'"),
    "far gaze": ({"photographs": [entry(gaze=[80, 0])]}, "within 60"),
    "lens": ({"photographs": [entry(focal_px="long")]}, "focal_px is 'long'"),
    "half a cut": ({"photographs": [entry(whole=[600, 400])]}, "give both"),
    "cut out of less": ({"photographs": [entry(whole=[600, 400], cut_at=[0, 201])]}, "this one of 100 x 200"),
    "a cut in words": ({"photographs": [entry(whole="large", cut_at=[0, 0])]}, "whole is 'large'"),
    "unknown field": ({"photographs": [entry(focus=1)]}, "a photograph has no 'focus'"),
    "twice": ({"photographs": [entry(), entry()]}, "stomion is marked twice in a.jpg"),
    "two sizes": ({"photographs": [entry(), entry(width=90)]}, "differ from above"),
    "marks as a list": ({"photographs": [entry(marks=[1])]}, "marks are an object"),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_every_fault_is_one_clear_line(tmp_path, fault):
    content, line = FAULTS[fault]
    path = tmp_path / "marks.json"
    path.write_text(json.dumps(content), encoding="utf-8")
    with pytest.raises(BadFile) as told:
        read_photo_marks(path, NAMES)
    assert line in str(told.value)
    assert str(told.value).startswith(str(path))
    assert "\n" not in str(told.value)


def test_files_of_other_kinds_are_refused(tmp_path):
    for name, content, line in (
        ("marks.txt", b"", ".json or .csv, not .txt"),
        ("marks.json", b"{", "line 1"),
        ("marks.json", b"\xff\xfe", "no UTF-8"),
        ("marks.csv", b"photograph,name\n", "line 1: no column width, height, x, y"),
        ("marks.csv", b"photograph,width,height,name,x,y\na.jpg,100,200,stomion,5\n", "line 2"),
    ):
        (tmp_path / name).write_bytes(content)
        with pytest.raises(BadFile, match=line):
            read_photo_marks(tmp_path / name, NAMES)
    with pytest.raises(BadFile, match="cannot be read"):
        read_photo_marks(tmp_path / "none.json", NAMES)
    with pytest.raises(BadFile, match="without an ending"):
        photo_marks_text(TWO, "")
    assert dataclasses.replace(TWO[0], lens="") == TWO[0]
