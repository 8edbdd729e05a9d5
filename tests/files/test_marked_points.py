"""Marked points read from JSON and CSV, and what is refused in one line."""

import re
from pathlib import Path

import pytest
from canthus.files.marked_points import read_marked_points
from canthus.geometry.errors import BadFile

CSV = "point,pass,x,y,z\nnose,1,1,2,3\nnose,2,4,5,6.5\n chin ,1,0,0,-1e1\n"
JSON = '{"points": {"nose": {"1": [1, 2, 3], "2": [4, 5, 6.5]}, "chin": {"1": [0, 0, -10]}}}'
WANTED = {1: {"nose": (1, 2, 3), "chin": (0, 0, -10)}, 2: {"nose": (4, 5, 6.5)}}


@pytest.mark.parametrize(
    ("name", "text"), [("a.csv", CSV), ("a.json", JSON), ("b.JSON", JSON[11:-1]), ("bom.csv", "\ufeff" + CSV)]
)
def test_both_formats_say_the_same(tmp_path, name, text):
    (tmp_path / name).write_text(text, encoding="utf-8")
    assert read_marked_points(tmp_path / name) == WANTED


@pytest.mark.parametrize(
    ("name", "text", "match"),
    [
        ("a.csv", "point,x,y,z\nnose,1,2,3\n", "line 1: no column pass"),
        ("a.csv", "", "line 1: no column"),
        ("a.csv", "point,pass,x,y,z\n", "holds no points"),
        ("a.csv", CSV + "nose,two,1,2,3\n", "line 5: 'two' is no pass"),
        ("a.csv", CSV + "lip,0,1,2,3\n", "line 5: '0' is no pass"),
        ("a.csv", CSV + "lip,1,1,2\n", "line 5: .* are not three numbers"),
        ("a.csv", CSV + "lip,1,1,2,nan\n", "line 5: .* are not three finite numbers"),
        ("a.csv", CSV + "nose,1,1,2,3\n", "line 5: nose is given twice in pass 1"),
        ("a.csv", CSV + ",1,1,2,3\n", "line 5: no name"),
        ("a.json", "{", "line 1: "),
        ("a.json", "[1]", "an object of points"),
        ("a.json", '{"nose": [1, 2, 3]}', "nose: an object of places"),
        ("a.json", '{"nose": {"1": "123"}}', "nose: '123' are not three numbers"),
        ("a.json", '{"nose": {"1": [1, 2]}}', "are not three numbers"),
        ("a.txt", CSV, "come as .json or .csv, not .txt"),
    ],
)
def test_a_bad_file_is_one_line(tmp_path, name, text, match):
    (tmp_path / name).write_text(text, encoding="utf-8")
    with pytest.raises(BadFile, match=match) as raised:
        read_marked_points(tmp_path / name)
    assert "\n" not in str(raised.value)
    assert name in str(raised.value)


def test_what_cannot_be_read_as_text_is_said(tmp_path):
    with pytest.raises(BadFile, match="cannot be read"):
        read_marked_points(tmp_path / "missing.csv")
    (tmp_path / "binary.csv").write_bytes(b"point,\xff")
    with pytest.raises(BadFile, match="byte 6 is no UTF-8"):
        read_marked_points(tmp_path / "binary.csv")


def test_the_examples_of_the_manual_are_read_and_say_the_same(tmp_path):
    page = (Path(__file__).parents[2] / "addon" / "manual" / "scanning.md").read_text(encoding="utf-8")
    found = []
    for ending in ("csv", "json"):
        (text,) = re.findall(f"```{ending}\n(.*?)```", page, re.DOTALL)
        (tmp_path / f"marks.{ending}").write_text(text)
        found.append(read_marked_points(tmp_path / f"marks.{ending}"))
    assert found[0] == found[1]
    assert {number: len(own) for number, own in found[0].items()} == {1: 3, 2: 3}
