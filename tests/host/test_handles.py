"""Landmarks and lid margins dragged by their handles count in the steps that follow."""

import dataclasses

import bpy
import numpy as np
import pytest
from canthus.host.hands import handles
from canthus.host.scene import curves, scene_piece
from canthus.steps.workpiece import Landmark
from mathutils import Vector

AROUND = np.linspace(0, 2 * np.pi, 48, endpoint=False)
OPENING = np.stack([30 + 14 * np.cos(AROUND), np.full(48, -80.0), 5 * np.sin(AROUND)], axis=1)


@pytest.fixture
def eyed(piece, scene):
    """A head with a margin round its left eye and both inner corners marked."""
    eyes = tuple(dataclasses.replace(each, opening=OPENING if each.side == "left" else None) for each in piece.eyes)
    marks = {"endocanthion-left": Landmark((16.0, -80, 0), 0.9, "proposed")}
    marks["endocanthion-right"] = Landmark((-16.0, -80, 0), 0.9, "proposed")
    made = piece.but(eyes=eyes, landmarks=marks, parts={})
    collection = scene_piece.write_piece(made, scene)
    bpy.context.view_layer.update()
    return collection


def again(collection):
    return scene_piece.read_piece(collection, bpy.context.scene)


def left_eye(collection):
    return next(eye for eye in again(collection).eyes if eye.side == "left")


def test_a_margin_nobody_touched_is_read_back_to_the_last_bit(eyed):
    assert np.array_equal(left_eye(eyed).opening, OPENING)
    assert "by hand" not in left_eye(eyed).sources


def test_a_margin_has_handles_and_a_dragged_one_takes_its_neighbours_along(eyed):
    on_margin = [each for each in handles.handles_in(eyed) if each.row >= 0]
    assert len(on_margin) == curves.HANDLES[True]
    top = max(on_margin, key=lambda each: each.place.z)
    handles.move(bpy.context, top, top.place + Vector((0, 0, 2)))
    moved = left_eye(eyed)
    rise = (moved.opening - OPENING)[:, 2]
    assert rise[top.row] == pytest.approx(2.0, abs=1e-4)
    assert 0 < rise[top.row + 2] < 2
    assert rise[(top.row + 24) % 48] == pytest.approx(0.0, abs=1e-4)
    assert "by hand" in moved.sources


def test_a_landmark_dragged_counts_as_placed_and_its_twin_follows_if_asked(eyed):
    corner = next(each for each in handles.handles_in(eyed) if each.words == "Endocanthion Left")
    handles.move(bpy.context, corner, Vector((17, -81, 1)), mirror=True)
    marks = again(eyed).landmarks
    assert marks["endocanthion-left"].position == pytest.approx((17, -81, 1), abs=1e-4)
    assert marks["endocanthion-right"].position == pytest.approx((-17, -81, 1), abs=1e-4)
    assert {mark.source for mark in marks.values()} == {"placed"}


def test_a_line_drawn_with_other_points_is_taken_as_it_is(eyed):
    thing = scene_piece.object_with(eyed, "margin/left")
    thing.data.splines.clear()
    line = thing.data.splines.new("POLY")
    line.points.add(11)
    ring = OPENING[::4] - np.array([0, 1, 0])
    line.points.foreach_set("co", np.column_stack([ring, np.ones(12)]).astype(np.float32).ravel())
    assert left_eye(eyed).opening == pytest.approx(ring, abs=1e-4)


def test_a_line_with_too_few_points_is_refused(eyed):
    scene_piece.object_with(eyed, "margin/left").data.splines.clear()
    with pytest.raises(Exception, match="a lid margin needs 8 points"):
        again(eyed)


def test_a_margin_goes_with_its_eye(eyed, piece):
    before = again(eyed)
    scene_piece.write_piece(before.but(eyes=()), bpy.context.scene, eyed, before)
    assert scene_piece.object_with(eyed, "margin/left") is None
    assert not [each for each in bpy.data.curves if each.users == 0]


def test_an_eye_that_is_moved_keeps_its_margin(eyed):
    scene_piece.object_with(eyed, "eye/left").location.x += 0.5
    assert np.array_equal(left_eye(eyed).opening, OPENING)
    assert "by hand" in left_eye(eyed).sources
