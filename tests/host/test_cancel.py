"""Long work given up: the scene is as it was, to the last bit, and nothing of the child is left."""

import time
from types import SimpleNamespace

import bpy
import pytest
from canthus.host.buttons.beside import Beside
from canthus.host.buttons.chain_operator import CANTHUS_OT_make
from canthus.host.buttons.compare_operator import CANTHUS_OT_compare
from canthus.host.buttons.piece_operator import PieceOperator
from canthus.host.buttons.step_operator import BY_FILE
from canthus.host.hands.brow_operators import CANTHUS_OT_brow_curves
from canthus.host.hands.camera_operators import CANTHUS_OT_solve_cameras
from canthus.host.scene import scene_piece
from canthus.steps.catalogue import all_steps, step_named
from canthus.steps.workpiece import Done
from host.scene_state import state
from mathutils import Matrix
from small_pieces import piece_for

LONG = [step.NAME for step in all_steps() if not step.LIGHT and step.NAME not in BY_FILE]


class Button(PieceOperator):
    """The button of a step without its window: what the host calls is called by the test."""

    bl_label = "A Step"

    def __init__(self, name):
        self.steps_named = name
        self.told = []

    def steps_to_run(self, context):
        return [step_named(self.steps_named)()]

    def report(self, kind, text):
        self.told.append((kind, text))


@pytest.fixture
def context(scene):
    """The context of a window, as far as a button looks at it. There is none in a test, so its timer is nothing."""
    real = bpy.context
    manager = SimpleNamespace(
        canthus=real.window_manager.canthus,
        windows=[],
        event_timer_add=lambda *_, **__: "timer",
        event_timer_remove=lambda timer: None,
        modal_handler_add=lambda operator: None,
    )
    yield SimpleNamespace(
        window_manager=manager,
        window=None,
        scene=scene,
        view_layer=real.view_layer,
        workspace=SimpleNamespace(status_text_set=lambda text: None),
    )
    real.window_manager.canthus.running = real.window_manager.canthus.stop = False


TICK = SimpleNamespace(type="TIMER", value="NOTHING")
ESC = SimpleNamespace(type="ESC", value="PRESS")


def standing(name, scene):
    made = scene_piece.write_piece(piece_for(name), scene)
    bpy.context.view_layer.objects.active = scene_piece.object_with(made, "head") or made.objects[0]
    bpy.context.view_layer.update()
    return state()


def at_work(button, context):
    """Pressed, and gone on with until the child is there."""
    assert button.begin_work(context) == {"RUNNING_MODAL"}
    while button.child is None:
        assert button.modal(context, TICK) == {"RUNNING_MODAL"}
    assert context.window_manager.canthus.running


@pytest.mark.parametrize("name", LONG)
def test_given_up_at_once_everything_is_as_it_was(name, scene, context):
    before, button = standing(name, scene), Button(name)
    at_work(button, context)
    folder = button.child.folder
    assert button.modal(context, ESC) == {"CANCELLED"}
    assert state() == before
    assert not folder.exists()
    assert not context.window_manager.canthus.running
    assert button.told == [({"INFO"}, "A Step stopped, nothing has changed")]


@pytest.mark.parametrize("name", ["close", "carve-sockets", "check"])
def test_given_up_in_the_middle_everything_is_as_it_was(name, scene, context):
    before, button = standing(name, scene), Button(name)
    at_work(button, context)
    end = time.monotonic() + 60
    while button.child.what == "starting" or button.child.fraction == 0:
        assert button.modal(context, TICK) == {"RUNNING_MODAL"}
        assert time.monotonic() < end
        time.sleep(0.01)
    folder = button.child.folder
    context.window_manager.canthus.stop = True  # the button in the sidebar
    assert button.modal(context, TICK) == {"CANCELLED"}
    assert state() == before
    assert not folder.exists()


def test_let_go_on_it_comes_to_the_end_a_stretch_at_a_time(scene, context):
    before, button = standing("smooth", scene), Button("smooth")
    at_work(button, context)
    end = time.monotonic() + 60
    while (outcome := button.modal(context, TICK)) == {"RUNNING_MODAL"}:
        assert state() == before
        assert time.monotonic() < end
        time.sleep(0.02)
    assert outcome == {"FINISHED"}
    assert state() != before
    assert "Smooth done" in button.told[-1][1]


@pytest.mark.parametrize("changed", ["a landmark", "a vertex"])
def test_what_is_changed_by_hand_meanwhile_is_not_lost(changed, scene, context):
    standing("smooth", scene)
    button = Button("smooth")
    at_work(button, context)
    collection = scene_piece.pieces_in(scene)[0]
    if changed == "a landmark":
        next(each for each in collection.objects if each.get("canthus_role") == "landmark/sellion").location.x += 3
    else:
        scene_piece.object_with(collection, "head").data.vertices[7].co.z += 2
    before = state()
    end = time.monotonic() + 60
    while (outcome := button.modal(context, TICK)) == {"RUNNING_MODAL"}:
        assert time.monotonic() < end
        time.sleep(0.02)
    assert outcome == {"CANCELLED"}
    assert "was changed by hand while A Step ran" in button.told[-1][1]
    assert state() == before


def test_several_steps_are_told_as_one_button_with_what_must_be_known(scene, context):
    one, other = Done("smooth", {}, {}, 1.25, 0.0), Done("reduce", {}, {}, 2.5, 0.0)
    before = piece_for("smooth").but(notes=("known",), history=())
    button = Button("smooth")
    button.tell(before, before.but(notes=("known", "mind the gap"), history=(one, other)))
    assert button.told == [({"WARNING"}, "Mind the gap"), ({"INFO"}, "A Step done in 3.8 s")]
    button.tell(before, before.but(history=(one,)))
    assert button.told[-1] == ({"INFO"}, "Smooth done in 1.2 s")


def test_what_is_wrong_with_the_scene_is_told_and_ends_it(scene, context):
    standing("smooth", scene)
    scene_piece.object_with(scene_piece.pieces_in(scene)[0], "head").scale.x = -1
    before, button = state(), Button("smooth")
    assert button.begin_work(context) == {"RUNNING_MODAL"}
    while (outcome := button.modal(context, TICK)) == {"RUNNING_MODAL"}:
        assert button.child is None  # it is read a shape at a time, and told before anything is begun
    assert outcome == {"CANCELLED"}
    assert "is mirrored" in button.told[-1][1]
    assert state() == before
    assert not context.window_manager.canthus.running


def compared_beside():
    """Compare as it is pressed in a window, on the head and a copy of it moved by a millimetre."""
    head = scene_piece.object_with(scene_piece.pieces_in(bpy.context.scene)[0], "head")
    other = head.copy()
    other.data, other.name = head.data.copy(), "moved"
    del other["canthus_role"]
    other.data.transform(Matrix.Translation((0, 0, 1)))
    bpy.context.scene.collection.objects.link(other)
    bpy.context.view_layer.update()
    button = Comparing()
    button.pair = (head.session_uid, other.session_uid)
    return head, button


class Comparing(Beside):
    """Compare without its window, as `Button` is for steps."""

    bl_label, before = "Compare", None
    fit, reach, save = "none", 0.0, ""
    goes_on, things, put_back = (vars(CANTHUS_OT_compare)[name] for name in ("goes_on", "things", "put_back"))
    told_at_the_end = vars(CANTHUS_OT_compare)["told_at_the_end"]

    def __init__(self):
        self.told = []

    def report(self, kind, text):
        self.told.append((kind, text))


@pytest.mark.parametrize("given_up", [True, False])
def test_compare_goes_beside_the_window_too(given_up, scene, context):
    standing("smooth", scene)
    head, button = compared_beside()
    before = state()
    assert button.go_beside(context, "reading the scene") == {"RUNNING_MODAL"}
    end = time.monotonic() + 60
    while button.child is None or not button.child.fraction:
        assert button.modal(context, TICK) == {"RUNNING_MODAL"}
        assert time.monotonic() < end
        time.sleep(0.01)
    folder = button.child.folder
    if given_up:
        assert button.modal(context, ESC) == {"CANCELLED"}
        assert "deviation_mm" not in head.data.attributes
    else:
        while button.modal(context, TICK) == {"RUNNING_MODAL"}:
            assert time.monotonic() < end
            time.sleep(0.02)
        assert "deviation_mm" in head.data.attributes
        assert "head from moved" in button.told[-1][1]
    assert state() == before
    assert not folder.exists()
    assert not context.window_manager.canthus.running


def test_a_shape_taken_away_meanwhile_ends_the_comparison(scene, context):
    standing("smooth", scene)
    _, button = compared_beside()
    button.go_beside(context, "reading the scene")
    bpy.data.objects.remove(bpy.data.objects["moved"])
    assert button.modal(context, TICK) == {"CANCELLED"}
    assert "was taken away while they were compared" in button.told[-1][1]


def test_the_button_for_everything_is_given_up_like_the_others():
    assert CANTHUS_OT_make.modal is PieceOperator.modal
    assert CANTHUS_OT_make.cancel is PieceOperator.cancel
    for each in (CANTHUS_OT_brow_curves, CANTHUS_OT_compare, CANTHUS_OT_solve_cameras):
        assert each.modal is Beside.modal
