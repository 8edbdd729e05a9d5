"""Every step of the catalogue pressed through `bpy.ops` on one small bust; undo and redo after each."""

import bpy
import pytest
from canthus.host import scene_piece, states
from canthus.host.settings import identifier
from canthus.host.step_operator import BY_FILE
from canthus.steps.catalogue import all_steps
from host.egg import bust, state

STEPS = [step for step in all_steps() if step.NAME not in BY_FILE]
COARSE = {"hollow": {"cell": 0.5, "wall": 2.0}, "close": {"resolution": 4.0}}
"""Settings that make a step quick on the bust; what it makes with finer ones is tested without the host."""
MAY_REFUSE = {
    "landmarks",
    "register",
    "cull-lashes",
    "pose",
    "measure",
    "place-eyes",
    "rebuild-lids",
    "assess",
    "fit-base",
    "brows",
    "fit-hair",
    "relief",
}
"""Steps that may rightly say that an egg is no face, or one pass. The others must come to an end."""


@pytest.fixture
def collection(scene):
    made = scene_piece.write_piece(bust(), scene)
    bpy.context.view_layer.objects.active = scene_piece.object_with(made, "head")
    bpy.ops.ed.undo_push(message="the bust stands")
    return made


def pressed(button, before):
    """Whether the step came to an end; if it said why not, in one line, nothing has changed."""
    try:
        return button("EXEC_DEFAULT", True) == {"FINISHED"}
    except RuntimeError as error:
        said = str(error).strip().splitlines()
    assert len(said) == 1
    assert state() == before
    return False


@pytest.mark.parametrize("step", STEPS, ids=lambda step: step.NAME)
def test_pressed_it_works_or_says_why_not_and_undo_takes_it_back(step, collection):
    before = state()
    button = getattr(bpy.ops.canthus, identifier(step))
    if step.NAME in MAY_REFUSE and not pressed(button, before):
        return
    if step.NAME not in MAY_REFUSE:
        assert button("EXEC_DEFAULT", True, **COARSE.get(step.NAME, {})) == {"FINISHED"}
    after = state()
    collection = scene_piece.pieces_in(bpy.context.scene)[0]
    assert states.history_of(collection)[-1] == step.NAME
    assert states.step_states(states.history_of(collection))[step.NAME] == states.DONE
    bpy.ops.ed.undo()
    assert state() == before
    bpy.ops.ed.redo()
    assert state() == after
