"""Buttons pressed through `bpy.ops`: they do what the Python call does, undo takes it back, misuse is told."""

import json

import bpy
import numpy as np
import pytest
from canthus.files.writing import write
from canthus.geometry.cloud import Cloud
from canthus.host.buttons.chain_operator import CANTHUS_OT_make
from canthus.host.scene import scene_piece
from canthus.job.chain import steps_for
from canthus.steps.pose.scale import Scale
from host.scene_state import positions, state
from small_pieces import egg


@pytest.fixture
def collection(piece, scene):
    made = scene_piece.write_piece(piece, scene)
    bpy.context.view_layer.update()
    return made


def reread(collection_name="Canthus egg"):
    return scene_piece.read_piece(bpy.data.collections[collection_name], bpy.context.scene)


def test_a_button_does_what_the_python_call_does(piece, collection):
    assert bpy.ops.canthus.scale(ratio="1/8") == {"FINISHED"}
    expected, got = Scale(ratio="1/8").apply(piece), reread()
    np.testing.assert_allclose(got.head.vertices, expected.head.vertices, rtol=0, atol=1e-9)
    for eye, other in zip(got.eyes, expected.eyes, strict=True):
        np.testing.assert_allclose(eye.centre, other.centre, atol=1e-9)
    assert got.scale == expected.scale
    assert [done.name for done in got.history] == ["scale"]
    assert got.history[0].settings["ratio"] == 1 / 8


def test_undo_takes_it_back_and_redo_does_it_again(collection):
    bpy.ops.ed.undo_push(message="before")
    before = state()
    bpy.ops.canthus.scale("EXEC_DEFAULT", True, ratio="1/8")
    after = state()
    assert after != before
    bpy.ops.ed.undo()
    assert state() == before
    bpy.ops.ed.redo()
    assert state() == after


def test_the_settings_used_stay_in_the_panel(collection, scene):
    bpy.ops.canthus.scale(ratio="1/9")
    assert scene.canthus.scale.ratio == "1/9"


def test_from_edit_mode_what_was_edited_counts_and_the_mode_is_kept(collection):
    head = scene_piece.object_with(collection, "head")
    bpy.context.view_layer.objects.active = head
    head.data.vertices[0].co = (0, 0, 500)
    bpy.ops.object.mode_set(mode="EDIT")
    bpy.ops.canthus.scale(ratio="1/5")
    assert bpy.context.object.mode == "EDIT"
    bpy.ops.object.mode_set(mode="OBJECT")
    assert positions(bpy.context.object)[0][2] == pytest.approx(100)


def test_from_sculpt_mode(collection):
    bpy.context.view_layer.objects.active = scene_piece.object_with(collection, "head")
    bpy.ops.object.mode_set(mode="SCULPT")
    assert bpy.ops.canthus.scale() == {"FINISHED"}
    assert bpy.context.object.mode == "SCULPT"


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "sitter.ply"
    write(path, egg().head)
    return path


def test_a_scan_is_loaded_into_an_empty_scene(file, scene):
    scene.unit_settings.scale_length = 1.0
    assert bpy.ops.canthus.load(filepath=str(file)) == {"FINISHED"}
    assert scene.unit_settings.scale_length == pytest.approx(0.001)
    piece = reread("Canthus sitter")
    assert piece.units_in == "mm"
    assert [done.name for done in piece.history] == ["load"]
    assert scene_piece.role_of(bpy.context.object) == "scan"


def test_several_passes_become_one_cloud(tmp_path):
    rng = np.random.default_rng(3)
    directions = rng.normal(size=(4000, 3))
    points = directions / np.linalg.norm(directions, axis=1, keepdims=True) * (75, 95, 115)
    for name in ("front", "back"):
        write(tmp_path / f"{name}.ply", Cloud(points))
    bpy.ops.canthus.load(directory=str(tmp_path), files=[{"name": "front.ply"}, {"name": "back.ply"}], units="mm")
    piece = reread("Canthus front")
    assert len(piece.scan) == 8000
    assert set(piece.scan.columns["view"]) == {0, 1}


def test_a_mesh_that_is_here_already_is_taken_as_a_copy():
    bpy.ops.mesh.primitive_uv_sphere_add(radius=120)
    own = bpy.context.object
    before = positions(own).tobytes()
    assert bpy.ops.canthus.take_object(units="mm") == {"FINISHED"}
    assert positions(own).tobytes() == before
    assert np.ptp(reread("Canthus Sphere").scan.vertices[:, 2]) == pytest.approx(240, abs=1e-3)


def test_the_parts_are_written(collection, tmp_path):
    assert bpy.ops.canthus.export(directory=str(tmp_path / "out")) == {"FINISHED"}
    assert {each.suffix for each in (tmp_path / "out").iterdir()} >= {".stl", ".3mf"}


def test_writing_over_files_is_refused_and_leaves_them(collection, tmp_path):
    bpy.ops.canthus.export(directory=str(tmp_path))
    written = {each.name: each.stat().st_mtime_ns for each in tmp_path.iterdir()}
    with pytest.raises(RuntimeError, match="overwrite"):
        bpy.ops.canthus.export(directory=str(tmp_path))
    assert {each.name: each.stat().st_mtime_ns for each in tmp_path.iterdir()} == written


def test_a_step_that_cannot_leaves_the_scene_as_it_was(collection):
    before = state()
    with pytest.raises(RuntimeError, match="ratio"):
        bpy.ops.canthus.scale(ratio="one sixth")
    assert state() == before


def test_work_in_hand_shuts_the_other_buttons(collection):
    progress = bpy.context.window_manager.canthus
    progress.running, progress.title = True, "Close"
    try:
        with pytest.raises(RuntimeError, match="Close is at work"):
            bpy.ops.canthus.scale()
    finally:
        progress.running = False


def test_the_record_is_plain_text_another_program_can_read(collection):
    facts = json.loads(collection["canthus"])
    assert facts["landmarks"]["sellion"]["position"] == [0.1, -95.2, 15.3]


def test_making_everything_is_the_chain_of_the_command_line(piece, scene):
    """With the settings of the panels, and without `load`, which was done when the scan came in."""
    collection = scene_piece.write_piece(piece.but(scan=piece.head), scene)
    scene.canthus.scale.ratio = "1/4"
    steps = CANTHUS_OT_make.steps_to_run(None, bpy.context)
    assert [type(step) for step in steps] == list(steps_for())[1:]
    assert next(step for step in steps if step.NAME == "scale").ratio == 0.25
    collection[scene_piece.PASSES] = 2
    assert "register" in [step.NAME for step in CANTHUS_OT_make.steps_to_run(None, bpy.context)]
