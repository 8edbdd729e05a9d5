"""Norms against percentiles that were not used to write them down."""

import numpy as np
import pytest
from canthus.anatomy.face.measuring import build_of, measured
from canthus.anatomy.face.norms import NORMS
from canthus.anatomy.face.proportions import mean_head

# 5th and 95th percentile of men, read from the ANSUR II public files (reference_values.md section 2).
PERCENTILES = {
    "head length": (188, 211),
    "head breadth": (146, 163),
    "sellion to gnathion": (112, 134),
    "tragion to vertex": (121, 141),
    "between pupils": (58.5, 70.0),
}


@pytest.mark.parametrize("name", PERCENTILES)
def test_percentiles_agree_with_the_survey(name):
    low, high = PERCENTILES[name]
    assert NORMS[name].men.percentile(low) == pytest.approx(5.0, abs=1.7)
    assert NORMS[name].men.percentile(high) == pytest.approx(95.0, abs=1.7)


def test_a_mean_head_measures_as_one():
    build = build_of(measured(mean_head(), None))
    assert build.size == pytest.approx(1.0, abs=0.05)
    assert build.uneven < 1.12


def test_a_wrong_unit_and_a_stretched_scan_show():
    inches_for_centimetres = {name: place * 2.54 for name, place in mean_head().items()}
    assert build_of(measured(inches_for_centimetres, None)).size == pytest.approx(2.54, rel=0.05)
    stretched = {name: place * [1.0, 1.0, 1.3] for name, place in mean_head().items()}
    assert build_of(measured(stretched, None)).uneven > 1.25


def test_a_half_shut_eye_is_measured_but_not_judged():
    marks = mean_head()
    marks["palpebrale-superius-left"] = marks["palpebrale-inferius-left"] + np.array([0.0, 0.0, 2.0])
    rows = {(row.norm.name, row.side): row.millimetres for row in measured(marks, None)}
    assert rows["fissure height", "left"] == pytest.approx(2.0)
    assert build_of(measured(marks, None)) == build_of(measured(mean_head(), None))


def test_two_measures_say_nothing():
    marks = {name: place for name, place in mean_head().items() if name.startswith("endocanthion")}
    assert build_of(measured(marks, None)) is None
