"""Done, stale, to do: from the order in which steps were run."""

import bpy
import pytest
from canthus.host.buttons import panels
from canthus.host.scene import scene_piece
from canthus.host.scene.needs import first_missing, needs_of
from canthus.host.scene.states import DONE, STALE, TO_DO, step_states
from small_pieces import egg

CHANGING = (
    *("load", "take_object", "make", "run_recipe", "export", "scale", "close", "paint_mask", "take_hair"),
    *("set_landmark", "snap_landmarks", "mirror_landmarks", "drag_handles", "brow_curves"),
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


def test_what_is_missing_is_said():
    assert "Load" in first_missing(needs_of("close"), {})
    assert "Close" in first_missing(needs_of("hollow"), {"scan": True})
    assert "Place Eyes" in first_missing(needs_of("carve-sockets"), {"scan": True, "head": True})
    assert first_missing(needs_of("carve-sockets"), {"head": True, "eyes": True}) == ""
    assert first_missing(needs_of("landmarks"), {"surface": True}) == ""
    assert "Close" in first_missing(needs_of("landmarks"), {"scan": True})


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
