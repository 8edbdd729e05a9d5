"""Brows raised on a whole head: what moves, what stays, what is said."""

import numpy as np
import pytest
from canthus.anatomy.hair.brow_files import read_brows
from canthus.geometry.errors import BadSetting, NotReady
from canthus.geometry.measures import is_watertight
from canthus.geometry.mending.intersections import self_intersections
from canthus.steps.detail.brows import Brows
from small_pieces import sitter


@pytest.fixture(scope="module")
def piece():
    return sitter("scaled")


COARSE = {"width": 2.0, "taper": 100, "density": 8.0}
"""Broad clumps, so that triangles may be large and a test quick."""


@pytest.fixture(scope="module")
def done(piece):
    return Brows(sides="left").apply(piece)


def test_it_stays_one_closed_solid_and_is_the_same_beyond_the_brows(piece, done):
    assert is_watertight(done.head)
    assert not len(self_intersections(done.head))
    assert done.figures["crossing_faces"] == 0
    before, after = piece.head.vertices, done.head.vertices
    moved = ~(after[: len(before)] == before).all(axis=1)
    assert moved.any()
    assert (before[moved, 0] > 0).all()  # the other side was not asked for
    eye = np.array([piece.landmarks[f"exocanthion-{side}"].position for side in ("left", "right")])
    assert before[moved, 0].max() < eye[0, 0] + 2
    assert (before[moved, 2] > eye[:, 2].min()).all()
    assert (before[moved, 2] < eye[:, 2].max() + 6.0).all()  # 36 mm at life size
    assert np.linalg.norm(after[: len(before)] - before, axis=1).max() <= done.figures["height_mm"] + 0.35 / 6 + 1e-9


def test_strokes_are_no_narrower_than_two_pixels(done):
    """reference_values.md section 9: at 1/6 two pixels of 0.05 mm stand for 0.60 mm of skin."""
    assert done.figures["clump_least_mm"] == pytest.approx(0.1, abs=1e-9)
    assert done.figures["strokes"] > 60
    assert done.figures["left_from"] == "colour"
    told = " ".join(done.notes)
    assert "Two pixels of 0.05 mm stand for 0.60 mm of skin at 1:6" in told
    assert "a single hair of 0.07 mm does not" in told
    assert "The left brow lies where the scan is darker" in told


def test_what_is_too_low_or_too_narrow_is_said(piece):
    low = Brows(height=0.1, width=0.2, density=1, sides="right").apply(piece)
    told = " ".join(low.notes)
    assert "less than a layer" in told
    assert "widened from the 0.2 mm set to 0.60 mm" in told
    assert "left_from" not in low.figures


def test_curves_that_were_saved_and_moved_are_followed(piece, tmp_path):
    saved = tmp_path / "mine.csv"
    Brows(save=str(saved), **COARSE).apply(piece)
    text = saved.read_text().splitlines()
    lines = [text[0]]
    for line in text[1:]:
        *words, height = line.split(",")
        if words[0] == "left":
            lines.append(",".join([*words, str(float(height) + 0.7)]))
    saved.write_text("\n".join(lines))
    drawn = Brows(curves=str(saved), **COARSE).apply(piece)
    assert drawn.figures["left_from"] == "drawn"
    assert drawn.figures["right_from"] == "colour"
    upper, _ = read_brows(saved)["left"]
    before = piece.head.vertices
    added = drawn.head.vertices[: len(before)] != before
    left = added.any(axis=1) & (before[:, 0] > 0)
    assert before[left, 2].max() > upper[:, 2].max() - 0.5


def test_bad_words_are_refused(piece):
    with pytest.raises(NotReady, match="run landmarks, or draw"):
        Brows().apply(piece.but(landmarks={}))
    with pytest.raises(BadSetting, match="source is one of"):
        Brows(source="guess")
