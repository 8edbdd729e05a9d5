"""Landmark names and their files."""

import json

import pytest
from canthus.anatomy.face.landmark_files import landmarks_text, read_landmarks
from canthus.anatomy.face.landmarks import NAMES, definition, known, pairs, twin
from canthus.geometry.errors import BadFile, BadSetting

MARKS = {"pronasale": (1.5, -120.25, -20.0, 1.0), "tragion-left": (70.0, 0.0, 0.125, 0.4)}


def test_there_are_seven_on_the_midline_and_seven_pairs():
    assert len(NAMES) == len(set(NAMES)) == 7 + 2 * 7
    assert all(definition(name) for name in NAMES)
    assert len(pairs(NAMES)) == 7
    assert {twin(twin(name)) for name in NAMES} == set(NAMES)
    with pytest.raises(BadSetting, match="nasion"):
        known("nasion")  # not the sellion: reference_values.md section 2 keeps them apart


@pytest.mark.parametrize("ending", [".json", ".csv"])
def test_what_is_written_is_read_back(tmp_path, ending):
    file = tmp_path / f"marks{ending}"
    file.write_text(landmarks_text(MARKS, ending))
    assert read_landmarks(file) == MARKS


def test_bare_positions_are_taken_as_sure(tmp_path):
    file = tmp_path / "bare.json"
    file.write_text(json.dumps({"pronasale": [1, 2, 3]}))
    assert read_landmarks(file) == {"pronasale": (1.0, 2.0, 3.0, 1.0)}


@pytest.mark.parametrize(
    ("name", "text", "says"),
    [
        ("a.json", "{", "line 1"),
        ("a.json", "[]", "no landmarks"),
        ("a.json", '{"nose": [1, 2, 3]}', "nose"),
        ("a.json", '{"pronasale": [1, 2]}', "three numbers"),
        ("a.json", '{"pronasale": [1, 2, NaN]}', "finite"),
        ("a.json", '{"pronasale": {"mm": [1, 2, 3], "confidence": 7}}', "0 to 1"),
        ("a.csv", "name,x,y\npronasale,1,2\n", "column z"),
        ("a.csv", "name,x,y,z\npronasale,1,2,left\n", "line 2"),
        ("a.csv", "name,x,y,z\n", "no landmarks"),
        ("a.txt", "pronasale 1 2 3", ".json or .csv"),
    ],
)
def test_a_broken_file_is_told_in_one_line(tmp_path, name, text, says):
    file = tmp_path / name
    file.write_text(text)
    with pytest.raises(BadFile, match=says) as caught:
        read_landmarks(file)
    assert "\n" not in str(caught.value)
    assert name in str(caught.value)


def test_a_missing_file_is_told(tmp_path):
    with pytest.raises(BadFile, match="cannot be read"):
        read_landmarks(tmp_path / "none.json")
