"""Done, stale, to do: from the order in which steps were run."""

import bpy
import pytest
from canthus.host.buttons import panels
from canthus.host.scene import scene_piece
from canthus.host.scene.needs import first_missing
from canthus.host.scene.states import DONE, STALE, TO_DO, next_step, states_of, step_states
from canthus.steps.catalogue import all_steps, step_named
from canthus.steps.workpiece import Done
from small_pieces import egg

CHANGING = (
    *("load", "take_object", "make", "run_recipe", "export", "scale", "close", "paint_mask", "take_hair"),
    *("set_landmark", "snap_landmarks", "mirror_landmarks", "drag_handles", "brow_curves", "compare"),
)


def test_nothing_is_done_at_first():
    assert set(step_states(()).values()) == {TO_DO}


def test_in_order_all_is_done():
    states = step_states(("load", "close", "scale", "neck"))
    assert [states[name] for name in ("load", "close", "scale", "neck", "hollow")] == [DONE, DONE, DONE, DONE, TO_DO]


def test_what_comes_after_a_step_run_again_is_stale():
    states = step_states(("load", "close", "scale", "neck", "scale"))
    assert (states["scale"], states["neck"], states["close"]) == (DONE, STALE, DONE)


def test_running_it_again_mends_it():
    assert step_states(("scale", "neck", "scale", "neck"))["neck"] == DONE


ENDING = {"neck", "hollow", "key", "vent", "check", "export"}


@pytest.mark.parametrize(
    ("again", "stale"),
    [
        ("assess", set()),
        ("measure", set()),
        ("relief", {"brows", "fit-hair", *ENDING}),
        ("brows", ENDING),
        ("fit-hair", {"key", "vent", "check", "export"}),
        ("make-eyes", {"vent", "check", "export"}),
        ("neck", ENDING - {"neck"}),
        ("check", set()),
    ],
)
def test_a_step_run_again_makes_stale_what_hangs_on_it_and_nothing_else(again, stale):
    """All steps done in order, then one again. By what the steps work on: common practice, no source."""
    order = [step.NAME for step in all_steps()]
    states = step_states((*order, again))
    assert {name for name, state in states.items() if state == STALE} == stale


@pytest.mark.parametrize(
    ("history", "following"),
    [
        (("load",), ("assess", False)),
        (("load", "assess", "cull-strays", "cull-lashes", "merge-layers", "denoise", "close"), ("landmarks", False)),
        (("load", "close", "smooth"), ("landmarks", False)),  # what was passed over is not asked for again
        (("load", "close", "landmarks", "pose", "landmarks"), ("pose", True)),
        (("load", "check"), ("export", False)),
        (("load", "check", "export"), None),
    ],
)
def test_the_step_to_press_next_is_told(history, following):
    assert next_step(step_states(history)) == following


def test_what_hangs_on_what_is_stale_is_stale():
    """Landmarks do not look at the scan, but at the head that Close makes of it."""
    states = step_states(("load", "cull-strays", "close", "landmarks", "neck", "cull-strays"))
    assert [states[name] for name in ("cull-strays", "close", "landmarks", "neck")] == [DONE, STALE, STALE, STALE]


def test_eyes_that_are_one_with_the_head_make_the_head_stale():
    order = ("place-eyes", "make-eyes", "neck", "make-eyes")
    assert step_states(order)["neck"] == DONE
    assert step_states(order, settings={"make-eyes": {"form": "fixed"}})["neck"] == STALE


def test_brows_raised_before_relief_are_stale_and_so_is_all_after_them():
    states = step_states(("close", "landmarks", "brows", "neck", "relief"))
    assert [states[name] for name in ("relief", "brows", "neck", "landmarks")] == [DONE, STALE, STALE, DONE]


@pytest.fixture
def posed(scene):
    """A head whose steps were done with the landmarks and eyes as they stand."""
    history = tuple(Done(name, {}) for name in ("landmarks", "pose", "place-eyes", "carve-sockets", "neck"))
    return scene_piece.write_piece(egg(3).but(history=history), scene)


def states_now():
    collection = scene_piece.pieces_in(bpy.context.scene)[0]
    return {name for name, state in states_of(collection, bpy.context.scene).items() if state == STALE}


def test_a_landmark_moved_by_hand_makes_stale_what_went_by_it_until_that_is_run_again(posed):
    assert states_now() == set()
    scene_piece.object_with(posed, "landmark/sellion").location.x += 2
    assert states_now() == {"pose", "place-eyes", "carve-sockets", "neck"}  # seen at once
    bpy.ops.canthus.smooth(passes=1)
    assert states_now() == {"landmarks", "pose", "place-eyes", "carve-sockets", "neck"}  # and after another step
    collection = scene_piece.pieces_in(bpy.context.scene)[0]
    moved = scene_piece.read_piece(collection, bpy.context.scene)
    done = moved.but(history=(*moved.history, Done("landmarks", {}), Done("pose", {})))
    scene_piece.write_piece(done, bpy.context.scene, collection, moved)
    assert states_now() == {"place-eyes", "carve-sockets", "neck"}


def test_an_eye_moved_by_hand_makes_stale_what_was_carved_for_it(posed):
    scene_piece.object_with(posed, "eye/left").location.y += 1
    assert states_now() == {"carve-sockets", "neck"}


def test_a_landmark_set_with_its_button_counts_as_moved(posed):
    bpy.context.view_layer.objects.active = scene_piece.object_with(posed, "head")
    bpy.ops.canthus.set_landmark(landmark="sellion", position=(0, -90, 15))
    assert "pose" in states_now()
    assert "landmarks" not in states_now()


def test_a_head_sculpted_by_hand_makes_stale_what_was_made_of_it(posed):
    head = scene_piece.object_with(posed, "head")
    bpy.context.view_layer.objects.active = head
    head.data.vertices[5].co.z += 1
    bpy.ops.canthus.show_landmarks()
    bpy.ops.canthus.set_landmark(landmark="vertex", position=(0, 0, 100))  # the next time all is read and written
    assert {"landmarks", "carve-sockets", "neck"} <= states_now()


def test_what_is_missing_is_said():
    assert "Load" in first_missing(step_named("close").NEEDS, {})
    assert "Close" in first_missing(step_named("hollow").NEEDS, {"scan": True})
    assert "Place Eyes" in first_missing(step_named("carve-sockets").NEEDS, {"scan": True, "head": True})
    assert first_missing(step_named("carve-sockets").NEEDS, {"head": True, "eyes": True}) == ""
    assert first_missing(step_named("landmarks").NEEDS, {"surface": True}) == ""
    assert "Close" in first_missing(step_named("landmarks").NEEDS, {"scan": True})


def finding(ok, grave=False):
    return {"ok": ok, "grave": grave}


def test_the_check_is_told_in_a_line():
    well, look, bad = finding(True), finding(False), finding(False, True)
    line = panels.check_line
    assert line([well, well], DONE) == ("Checked: all 2 well", "CHECKMARK", False)
    assert line([well, look], DONE) == ("Checked: 1 finding to look at", "INFO", False)
    assert line([look, bad, bad], DONE) == ("Do not print: 2 grave findings", "ERROR", True)
    assert line([bad], STALE)[0] == "Changed since it was checked"


@pytest.mark.parametrize("name", CHANGING)
def test_while_a_step_is_at_work_nothing_else_changes_the_head(name, scene):
    """What comes of the step would take the place of what was done meanwhile."""
    scene_piece.write_piece(egg(2).but(scan=egg(2).head), scene)
    progress = bpy.context.window_manager.canthus
    progress.running, progress.title = True, "Close"
    try:
        with pytest.raises(RuntimeError, match="Close is at work: wait, or press Esc"):
            getattr(bpy.ops.canthus, name)()
    finally:
        progress.running = False
