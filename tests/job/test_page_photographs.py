"""The report's drawings of photographs, read back with the standard library."""

import xml.etree.ElementTree as ElementTree

import numpy as np
import pytest
from canthus.job.page_photographs import photographs
from PIL import Image

SVG = "{http://www.w3.org/2000/svg}"


def figures(path, **changes):
    """A report with one photograph of three marks: one right, one off by 3 and 4 px, one left out."""
    marks = [("pronasale", 40, 50, 40, 50), ("left-pupil", 60, 20, 63, 24), ("stomion", 45, 80, None, None)]
    names = ("mark", "x_px", "y_px", "seen_x_px", "seen_y_px")
    row = {
        "photograph": "front.jpg",
        "width_px": 100,
        "height_px": 120,
        "marks": 2,
        "left_out": "stomion",
        "reprojection_rms_px": 3.5355,
        "focal_px": 400.0,
        "focal_uncertainty_px": 30.0,
        "distance_mm_life": 912.0,
        **changes,
    }
    step = {
        "name": "place-eyes",
        "settings": {"photographs": str(path)},
        "figures": {
            "photographs": [row],
            "photograph_marks": [
                {"photograph": row["photograph"], **dict(zip(names, mark, strict=True))} for mark in marks
            ],
        },
    }
    return {"steps": [step]}


def drawn(text):
    """The drawings, as elements."""
    whole = ElementTree.fromstring(f"<div>{text.replace('&plusmn;', '+-')}</div>")
    return whole, whole.find(".//figure/svg")


def test_no_photographs_no_section():
    assert photographs({"steps": []}) == ""
    assert photographs({"steps": [{"name": "place-eyes", "figures": {"photographs": []}, "settings": {}}]}) == ""


def test_marks_reprojections_and_misses_are_drawn_where_they_lie(tmp_path):
    whole, svg = drawn(photographs(figures(tmp_path / "marks.json")))
    rings = [(float(each.get("cx")), float(each.get("cy"))) for each in svg.iter("circle")]
    assert rings == [(40, 50), (60, 20), (45, 80)]
    assert [each.text for each in svg.iter("title")] == ["pronasale", "left-pupil", "stomion"]
    groups = list(svg.iter("g"))
    assert [len(list(group.iter("line"))) for group in groups] == [3, 3, 0]
    miss = groups[1].find("line")
    ends = np.array([[float(miss.get(f"{axis}{end}")) for axis in "xy"] for end in (1, 2)])
    caption = "".join(whole.find(".//figcaption").itertext())
    np.testing.assert_allclose(ends[1] - ends[0], [3.0, 4.0])
    assert "misses drawn as they are" in caption
    for words in (
        "front.jpg: 2 marks",
        "3.54 px RMS",
        "400 px +- 30",
        "0.91 m",
        "left out: stomion",
        "No such file",
    ):
        assert words in caption, words
    left, top, width, height = map(float, svg.get("viewBox").split())
    assert left < 40
    assert top < 20
    assert left + width > 60
    assert top + height > 80


def test_small_misses_are_drawn_larger_and_it_is_said(tmp_path):
    report = figures(tmp_path / "marks.json", width_px=1000, height_px=1200)
    for row in report["steps"][0]["figures"]["photograph_marks"]:
        for name in ("x_px", "y_px"):
            middle = row[name] * 10
            row[f"seen_{name}"] = middle + 0.3
            row[name] = middle
    whole, svg = drawn(photographs(report))
    words = "".join(whole.find(".//figcaption").itertext()).partition("misses drawn ")[2]
    miss = svg.find("g/line")
    assert float(miss.get("x2")) - float(miss.get("x1")) == pytest.approx(0.3 * int(words.partition(" times")[0]))
    assert int(words.partition(" times")[0]) >= 10


def test_the_photograph_lies_behind_the_marks_without_the_cameras_notes(tmp_path):
    notes = Image.Exif()
    notes[0x010E] = "where it was taken"
    Image.new("RGB", (100, 120), (90, 60, 40)).save(tmp_path / "front.jpg", exif=notes)
    text = photographs(figures(tmp_path / "marks.json"))
    _, svg = drawn(text)
    image = svg.find("image")
    assert (image.get("width"), image.get("height"), image.get("transform")) == ("100", "120", None)
    assert image.get("href").startswith("data:image/jpeg;base64,")
    assert "drawn without" not in text
    assert "pass it on only as you would" in text


@pytest.mark.parametrize(("turn", "corner"), [(6, (100, 0)), (8, (0, 120))])
def test_a_photograph_stored_on_its_side_is_set_upright(tmp_path, turn, corner):
    """The corner stored first lands at the top right when turned to the right, bottom left when turned left."""
    notes = Image.Exif()
    notes[0x0112] = turn
    Image.new("RGB", (120, 100)).save(tmp_path / "front.jpg", exif=notes)
    image = drawn(photographs(figures(tmp_path / "marks.json")))[1].find("image")
    moved = image.get("transform").partition("translate(")[2].partition(")")[0]
    assert tuple(map(int, moved.split())) == corner


def test_a_photograph_of_another_size_is_not_shown(tmp_path):
    Image.new("RGB", (50, 60)).save(tmp_path / "front.jpg")
    text = photographs(figures(tmp_path / "marks.json"))
    assert "which is 50 x 60 pixels and not 100 x 120" in text
    assert "<image" not in text
    given = photographs(figures(tmp_path / "marks.json", focal_uncertainty_px=0.0, photograph="<b>.jpg"))
    assert "400 px as given" in given
    assert "<b>" not in given
