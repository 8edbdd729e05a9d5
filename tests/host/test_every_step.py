"""Every step of the catalogue pressed through `bpy.ops` on a small piece; undo and redo after each."""

import bpy
import pytest
from canthus.host.buttons.step_operator import BY_FILE
from canthus.host.scene import scene_piece, states
from canthus.host.scene.settings import identifier
from canthus.steps.catalogue import all_steps
from host.scene_state import state
from small_pieces import COARSE, piece_for

STEPS = [step for step in all_steps() if step.NAME not in BY_FILE]


@pytest.mark.parametrize("step", STEPS, ids=lambda step: step.NAME)
def test_pressed_it_works_and_undo_takes_it_back(step, scene):
    """Each on a piece it can work on, so that none may refuse."""
    made = scene_piece.write_piece(piece_for(step.NAME), scene)
    bpy.context.view_layer.objects.active = scene_piece.object_with(made, "head") or made.objects[0]
    bpy.ops.ed.undo_push(message="the piece stands")
    before = state()
    button = getattr(bpy.ops.canthus, identifier(step))
    assert button("EXEC_DEFAULT", True, **COARSE.get(step.NAME, {})) == {"FINISHED"}
    after = state()
    collection = scene_piece.pieces_in(bpy.context.scene)[0]
    assert states.history_of(collection)[-1] == step.NAME
    assert states.step_states(states.history_of(collection))[step.NAME] == states.DONE
    bpy.ops.ed.undo()
    assert state() == before
    bpy.ops.ed.redo()
    assert state() == after
