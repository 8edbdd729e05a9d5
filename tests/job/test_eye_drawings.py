"""Drawings of the eyes in their sockets, and the table of where their measures came from.

A ball in a block has closed forms: the gap is the clearance, the lid over it what is left of the block.
"""

import re
from xml.etree import ElementTree

import numpy as np
import pytest
from canthus.anatomy.eyes.eye import EyeShape
from canthus.anatomy.sockets.eye_making import laid, made_eye
from canthus.anatomy.sockets.socket import Pocket, pocket_tools
from canthus.geometry.solids.booleans import difference
from canthus.geometry.solids.primitives import frustum, sphere
from canthus.job.eye_drawings import eye_drawings
from canthus.job.eye_values import eye_values
from canthus.job.report import report
from canthus.steps.workpiece import Done, Eye, Workpiece

GAZE, CENTRE = np.array([0.0, -1.0, 0.0]), np.array([5.0, 1.0, 2.0])


@pytest.fixture(scope="module")
def piece():
    """A ball of 2.5 mm radius about an eye of 4 mm, its front opened to 40 degrees round the axis, its back bored."""
    pocket = Pocket(CENTRE, GAZE, EyeShape(4.0), 0.1).from_behind(6.0)
    opening = frustum(CENTRE, CENTRE + 5 * GAZE, 0.0, 5 * np.tan(np.radians(40.0)))
    head = difference(sphere(2.5, CENTRE), *pocket_tools(pocket), opening)
    eye = Eye("left", tuple(CENTRE), tuple(GAZE), 4.0, 0.1, bore_length=6.0)
    solid = laid(made_eye(EyeShape(4.0), half=False, stem=True, sunk_iris=False, marks=1), CENTRE, GAZE)
    return Workpiece(head=head, eyes=(eye,), parts={"eye-left": solid}, scale=1 / 6)


def test_lengths_on_the_drawings_are_those_of_the_solids(piece):
    upright, level = eye_drawings(piece)
    assert [upright.name, level.name] == ["cut-upright-left", "cut-level-left"]
    for drawing, words in ((upright, ("above", "below")), (level, ("outer", "inner"))):
        for word in words:
            assert drawing.lengths[f"gap {word}"] == pytest.approx(0.1, abs=0.003)
            assert drawing.lengths[f"lid {word}"] == pytest.approx(0.4, abs=0.006)


def test_a_drawing_is_sound_svg_that_shows_every_length(piece):
    for drawing in eye_drawings(piece):
        tree = ElementTree.fromstring(drawing.svg)
        words = [text.text for text in tree.iter("text")]
        assert words == [f"{name} {length:.2f}" for name, length in drawing.lengths.items()]
        left, top, wide, tall = map(float, tree.attrib["viewBox"].split())
        for text in tree.iter("text"):
            assert left <= float(text.attrib["x"]) < left + wide - 1
            assert top < float(text.attrib["y"]) < top + tall
        assert len(re.findall("<path", drawing.svg)) >= 3
        assert len(drawing.svg) < 60_000


def test_every_value_names_its_source(piece):
    lids = {f"left_{lid}_lid_mm": 0.3 for lid in ("upper", "lower")} | {"left_true_upper_lid_mm": 0.25}
    lids |= {"left_true_lower_lid_mm": 0.3, "left_set_back_mm": 0.08, "left_crease_height_mm_life": 8.31}
    lids |= {f"left_fissure_{name}_mm_life": 20.0 for name in ("length", "height")} | {"left_canthal_tilt_deg": 4.0}
    asked = {"fissure_length": 0.0, "fissure_height": 9.0, "canthal_tilt": 0.0, "crease_height": 0.0}
    asked |= {"crease_depth": 0.8, "thickness": 0.0, "blend": 3.5, "margins": ""}
    history = (
        Done("place-eyes", {"globe": 24.2, "diameter": 4.0}),
        Done("rebuild-lids", asked, lids),
        Done("carve-sockets", {"seat": "none"}, {"left_least_lid_mm": 0.22, "left_least_wall_mm": 0.7}),
    )
    known = piece.but(history=history)
    sources = {(each["what"], each["eye"]): each["source"] for each in eye_values(known)}
    assert all(sources.values())
    assert "Bekerman" in sources["sitter's globe", ""]
    assert "Le Grand" in sources["limbus, diameter", ""]
    assert "Malik" in sources["crease, height", "left"]
    assert sources["fissure, height", "left"] == "set"
    assert "scan" in sources["fissure, length", "left"]
    assert "thickened" in sources["upper lid, as made", "left"]
    assert "thickened" not in sources["lower lid, as made", "left"]
    assert report(known, {})["eye_values"][0]["value"] == 24.2
    assert eye_values(Workpiece()) == []
