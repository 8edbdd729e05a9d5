import io

import pytest
from canthus.geometry.progress import SILENT
from canthus.job.terminal import figure_lines, progress_on
from canthus.job.wording import finding_text, named, scale_text, value_text


class Terminal(io.StringIO):
    def isatty(self):
        return True


@pytest.mark.parametrize(
    ("name", "words", "unit"),
    [
        ("wall_least_mm", "wall least", "mm"),
        ("volume_mm3", "volume", "mm³"),
        ("left_uncertainty_mm_life", "left uncertainty", "mm at life size"),
        ("suction_mm2_now", "suction now", "mm²"),
        ("removed_points", "removed points", ""),
        ("mm", "mm", ""),
        ("skull-cap", "skull cap", ""),
        ("angle_deg", "angle", "°"),
    ],
)
def test_a_unit_is_taken_off_the_end_of_a_name(name, words, unit):
    assert named(name) == (words, unit)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (True, "yes"),
        (1234567, "1,234,567"),
        (0.0, "0"),
        (-0.00001, ">-0.001"),
        (0.0002, "<0.001"),
        (0.05, "0.05"),
        (12.3456, "12.35"),
        (123.456, "123.5"),
        (98765.4, "98,765"),
        ([1.5, 2.0], "1.5, 2"),
        ({"left_mm": 1.0}, "left 1 mm"),
        ({"name": "head length", "mm": 206.1}, "name head length; 206.1 mm"),
        ({"area_mm2": 3.0, "gap_mm": None}, "area 3 mm²; gap -"),
        (None, "-"),
        ("", "-"),
        ("lids", "lids"),
    ],
)
def test_values_as_a_person_writes_them(value, text):
    assert value_text(value) == text


@pytest.mark.parametrize(
    ("value", "limit", "unit", "ok", "text"),
    [
        (0.32, 0.4, "mm", False, "wall 0.32 mm, wanted at least 0.4 mm: thicken it"),
        (0.5, 0.4, "mm", True, "wall 0.5 mm, wanted at least 0.4 mm: thicken it"),
        (3, 0, "islands", False, "wall 3 islands, wanted none: thicken it"),
        (120.0, 100, "%", False, "wall 120 %, wanted at most 100 %: thicken it"),
        (0, 1, "", False, "wall no: thicken it"),
    ],
)
def test_a_finding_says_what_was_wanted(value, limit, unit, ok, text):
    check = {
        "name": "wall",
        "value": value,
        "limit": limit,
        "unit": unit,
        "ok": ok,
        "where": "",
        "advice": "thicken it",
    }
    assert finding_text(check) == text


@pytest.mark.parametrize(("scale", "text"), [(1 / 6, "1/6"), (1.0, "life size"), (0.25, "1/4"), (0.171, "0.1710")])
def test_scales_as_a_sculptor_says_them(scale, text):
    assert scale_text(scale) == text


def test_progress_is_silent_in_a_pipe_and_one_line_on_a_terminal():
    assert progress_on(io.StringIO()) is SILENT
    terminal = Terminal()
    progress = progress_on(terminal)
    progress(0.5, "closing")
    progress(1.0, "done")
    assert "\n" not in terminal.getvalue()
    assert " 50%  closing" in terminal.getvalue()
    assert terminal.getvalue().endswith(" \r")  # wiped away


def test_figures_line_up_with_their_units():
    assert figure_lines({"wall_mm": 1.5}) == ["  wall                           1.5 mm"]
    rows = [{"eye": "small", "diameter_mm": 3.0}, {"eye": "doll", "diameter_mm": 6.0}]
    first, second = figure_lines({"eyes_to_choose_from": rows})
    assert first.split() == ["eyes", "to", "choose", "from", "eye", "small;", "diameter", "3", "mm"]
    assert second.split() == ["eye", "doll;", "diameter", "6", "mm"]
    assert figure_lines({"marks": [{"x_px": 1}] * 55}) == [
        "  marks                          55 rows: --json gives them"
    ]
