"""Undo and redo after each operator that is no step, vertex for vertex. The steps have `test_every_step`."""

import bpy
import numpy as np
import pytest
from canthus.files.writing import write
from canthus.host import registration
from canthus.host.scene import scene_piece, settings
from canthus.steps.catalogue import all_steps
from canthus.steps.workpiece import Done
from host.scene_state import state
from small_pieces import egg


def head():
    return scene_piece.object_with(scene_piece.pieces_in(bpy.context.scene)[0], "head")


def nothing(folder):
    pass


def a_file(folder):
    write(folder / "sitter.ply", egg(3).head)


def a_sphere(folder):
    bpy.ops.mesh.primitive_uv_sphere_add(radius=120)


def a_landmark(folder):
    bpy.ops.canthus.set_landmark(landmark="exocanthion-left", position=(45, -80, 10))


def a_recipe(folder):
    text = 'format = 1\ncanthus = "0.1.0"\nname = "mine"\n\n[[step]]\nstep = "scale"\nratio = "1/9"\n'
    (folder / "mine.toml").write_text(text)


def hair(folder):
    bpy.ops.mesh.primitive_uv_sphere_add(radius=90, location=(0, 10, 60))


def a_photograph(folder):
    bpy.data.images.new("front", 300, 400).use_fake_user = True
    bpy.ops.canthus.set_photo_mark(image="front", mark="stomion", place=(150, 250))
    bpy.ops.canthus.save_photo_marks(filepath=str(folder / "marks.json"))


PRESSES = [
    (a_file, "load", {"filepath": "sitter.ply"}),
    (a_sphere, "take_object", {"units": "mm"}),
    (nothing, "set_landmark", {"landmark": "vertex", "position": (0, 0, 140)}),
    (nothing, "snap_landmarks", {}),
    (a_landmark, "mirror_landmarks", {"side": "left"}),
    (nothing, "show_form", {"form": "skin"}),
    (nothing, "show_map", {"column": "height"}),
    (nothing, "before_after", {}),
    (nothing, "show_landmarks", {}),
    (nothing, "paint_mask", {}),
    (nothing, "take_preset", {"step": "scale", "preset": "1/8"}),
    (a_recipe, "run_recipe", {"filepath": "mine.toml"}),
    (nothing, "export", {"directory": "parts"}),
    (nothing, "compare", {}),
    (hair, "take_hair", {}),
    (a_photograph, "set_photo_mark", {"image": "front", "mark": "pronasale", "place": (150, 200)}),
    (a_photograph, "remove_photo_mark", {"image": "front", "mark": "stomion"}),
    (a_photograph, "clear_photo_marks", {"image": "front"}),
]
"""What has to be there, the button, its settings; a path is in the test's own folder."""
ELSEWHERE = {
    "brow_curves": "test_brow_curves, on a head with brows",
    "load_photo_marks": "sets marks as set_photo_mark does",
    "look_through_photo": "test_photographs, with solved cameras",
    "solve_cameras": "test_photographs, with marked photographs",
    "make": "works as run_recipe does, out of the same class",
}
"""Buttons with an undo step that are not pressed here, and why."""


def seen():
    """What counts in the scene, and what is shown of it."""
    shown = {
        thing.name: (thing.hide_viewport, [each.name for each in getattr(thing.data, "color_attributes", ())])
        for thing in bpy.data.objects
    }
    marks = {
        image.name: {mark.name: tuple(mark.place) for mark in image.canthus_photo.marks} for image in bpy.data.images
    }
    return state(), shown, bpy.context.scene.canthus.scale.ratio, marks


def test_no_button_with_an_undo_step_is_left_out():
    pressed = {button for _, button, _ in PRESSES} | ELSEWHERE.keys()
    steps = {settings.identifier(step) for step in all_steps()} - {"load", "export"}
    made = {
        each.bl_idname.removeprefix("canthus."): each for each in registration._classes() if "_OT_" in each.__name__
    }
    with_undo = {name for name, each in made.items() if "UNDO" in getattr(each, "bl_options", ())}
    assert with_undo - steps - pressed == set()


@pytest.mark.parametrize(("prepare", "button", "given"), PRESSES, ids=[press[1] for press in PRESSES])
def test_it_is_taken_back_and_done_again(prepare, button, given, scene, piece, tmp_path):
    mesh = piece.head
    tall = type(mesh)(mesh.vertices, mesh.triangles, None, {"height": mesh.vertices[:, 2]})
    scene_piece.write_piece(piece.but(head=tall, scan=mesh, history=(Done("pose", {}),)), scene)
    bpy.context.view_layer.objects.active = head()
    prepare(tmp_path)
    bpy.ops.ed.undo_push(message="all stands ready")
    before = seen()
    words = {
        name: str(tmp_path / value) if name in ("filepath", "directory") else value for name, value in given.items()
    }
    assert getattr(bpy.ops.canthus, button)("EXEC_DEFAULT", True, **words) == {"FINISHED"}
    after = seen()
    assert after != before
    bpy.ops.ed.undo()
    assert seen() == before
    bpy.ops.ed.redo()
    assert seen() == after


def test_saved_closed_and_opened_again_the_work_goes_on_as_if_nothing_had_happened(scene, piece, tmp_path):
    """The next step, the settings in the panel and what is stale are those of work that was not interrupted."""
    collection = scene_piece.write_piece(piece.but(scan=piece.head), scene)
    bpy.ops.canthus.scale(ratio="1/7")
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "work.blend"))
    bpy.ops.canthus.smooth(passes=3)
    went_on = scene_piece.read_piece(collection, bpy.context.scene)
    bpy.ops.wm.read_homefile(use_empty=True, use_factory_startup=True)
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "work.blend"))
    assert bpy.context.scene.canthus.scale.ratio == "1/7"
    bpy.ops.canthus.smooth(passes=3)
    came_back = scene_piece.read_piece(scene_piece.pieces_in(bpy.context.scene)[0], bpy.context.scene)
    np.testing.assert_array_equal(came_back.head.vertices, went_on.head.vertices)
    assert [done.name for done in came_back.history] == ["scale", "smooth"]
    assert came_back.landmarks == went_on.landmarks
