"""What the check suggests for the plate, and in which words."""

from html import escape

import numpy as np
import pytest
from canthus.geometry.solids.booleans import difference, union
from canthus.geometry.solids.primitives import cylinder, frustum, sphere
from canthus.job.page_sections import standing
from canthus.steps.output.check import Check
from canthus.steps.output.printers import PRINTERS
from canthus.steps.output.standing import advice, in_words, joints_of, suggested_stands
from canthus.steps.workpiece import Done, Workpiece

WORDS = {
    (0, 0, 1): "upright",
    (0, -np.sin(np.radians(30)), np.cos(np.radians(30))): "tilted back 30°",
    (0, np.sin(np.radians(20)), np.cos(np.radians(20))): "tilted forward 20°",
    (0, -1, 0): "on its back",  # what looks up from the plate is the front
    (0, 1, 0): "on its front",
    (0, 0, -1): "upside down",
    (0, -0.5, -np.sqrt(0.75)): "upside down, its front turned up 30°",
    (1, 0, 0): "on the sitter's right side",  # +x is the sitter's left, and up
    (-1, 0, 0): "on the sitter's left side",
    (0.5, 0, np.sqrt(0.75)): "upright, leaning 30° to the sitter's right",
}


@pytest.mark.parametrize("up", sorted(WORDS))
def test_a_stand_in_words(up):
    assert in_words(up) == WORDS[up]


@pytest.fixture(scope="module")
def rows():
    """An egg with a nose lying on its face, with a bowl for a cap."""
    egg = sphere(1.0, sag=0.002).moved(np.diag([12.0, 16.0, 19.0, 1.0]))
    head = union(egg, sphere(3.0, (0, -16, -2), sag=0.02), cylinder((0, 3, -26), (0, 3, -10), 8, 0.02))
    bowl = difference(cylinder((0, 0, 30), (0, 0, 38), 10, 0.01), cylinder((0, 0, 32), (0, 0, 39), 8, 0.01))
    return suggested_stands(Workpiece(head=head, parts={"bowl": bowl}), np.array([0.0, 1.0, 0.0]), PRINTERS["medium"])


def test_a_head_on_its_face_is_turned_off_it(rows):
    head, bowl = rows
    assert head["face_scars_mm2"] < 0.2 * head["face_scars_mm2_now"]
    assert head["up"][1] < 0.5  # the front no longer looks down at the plate
    assert bowl["suction_mm2"] < 20
    told = advice(head)
    assert told.startswith(f"Print head {head['stand']} (up ")
    assert "supports on face and joints instead of" in told


def test_supports_are_kept_off_what_mates():
    """The rim of a bell that was parted off there, and of nothing else."""
    bell = difference(cylinder((0, 0, 0), (0, 0, 12), 10, 0.01), cylinder((0, 0, -1), (0, 0, 10), 8, 0.01))
    cut = {"part": "cap", "cut_at_mm": [0, 0, 0], "cut_up": [0, 0, 1], "spigot_mm": 1.0}
    piece = Workpiece(head=sphere(5.0, (40, 0, 0), sag=0.05), parts={"cap": bell}, history=(Done("key", {}, cut),))
    middles = bell.corners.mean(axis=1)
    np.testing.assert_array_equal(joints_of(piece, "cap", bell), np.abs(middles[:, 2] - 0.5) < 0.55)
    assert not joints_of(piece.but(history=()), "cap", bell).any()
    assert not joints_of(piece, "eye-left", bell).any()


def test_what_stands_well_is_left():
    done = Check().apply(Workpiece(head=frustum((0, 0, 0), (0, 0, 20), 6.0, 0.0, 0.02)))
    (row,) = done.figures["stands"]
    assert row["up"] == row["up_now"] == [0.0, 0.0, 1.0]
    assert done.notes == ()


def test_the_page_says_so(rows):
    text = standing({"steps": [{"name": "check", "figures": {"stands": rows}}]})
    for row in rows:
        left = "as it stands: " if row["up"] == row["up_now"] else ""
        assert f"<td>{row['part']}</td><td>{left}{escape(row['stand'])}</td>" in text
    assert standing({"steps": []}) == ""
