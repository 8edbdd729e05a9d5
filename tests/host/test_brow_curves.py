"""The brows' curves laid on the head, dragged, kept with the file, and followed by Brows."""

import json

import bpy
import numpy as np
import pytest
from canthus.anatomy.hair.brow_files import read_brows
from canthus.host.hands import handles
from canthus.host.scene import brow_curves, curves, scene_piece
from canthus.steps.detail.brows import Brows
from mathutils import Vector
from small_pieces import COARSE, sitter

LEFT = {name: value for name, value in COARSE["brows"].items() if name != "sides"}


@pytest.fixture
def laid(scene):
    """The coarse demo head at print size with its brows' curves on it."""
    collection = scene_piece.write_piece(sitter("scaled"), scene)
    bpy.context.view_layer.objects.active = scene_piece.object_with(collection, "head")
    assert bpy.ops.canthus.brow_curves() == {"FINISHED"}
    bpy.context.view_layer.update()
    return collection


def test_they_lie_where_brows_would_find_them_and_go_when_pressed_again(laid):
    found, piece = Brows().guides(sitter("scaled")), sitter("scaled")
    read = brow_curves.read(laid, 1.0)
    for side, guide in found.items():
        for edge, places in zip((guide.upper, guide.lower), read[side], strict=True):
            assert places == pytest.approx(piece.scale * edge, abs=1e-4)
    on_brows = [each for each in handles.handles_in(laid) if each.words == "Brow edge"]
    assert len(on_brows) == 4 * curves.HANDLES[False]
    assert bpy.ops.canthus.brow_curves() == {"FINISHED"}
    assert brow_curves.things_in(laid) == []


def test_a_dragged_edge_is_followed_and_the_curves_come_back_with_undo(laid, tmp_path):
    top = max(
        (each for each in handles.handles_in(laid) if "left-upper" in scene_piece.role_of(each.thing)),
        key=lambda each: each.place.z,
    )
    handles.move(bpy.context, top, top.place + Vector((0, 0, 0.5)))
    moved = brow_curves.read(laid, 1.0)["left"][0]
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "mine.blend"))
    bpy.ops.ed.undo_push(message="dragged")
    assert bpy.ops.canthus.brows("EXEC_DEFAULT", True, sides="left", **LEFT) == {"FINISHED"}
    done = json.loads(scene_piece.pieces_in(bpy.context.scene)[0]["canthus"])["history"][-1]
    assert done["figures"]["left_from"] == "drawn"
    assert done["settings"]["curves"] == str(tmp_path / "mine.brows.json")
    assert read_brows(tmp_path / "mine.brows.json")["left"][0] == pytest.approx(moved, abs=1e-4)
    assert all(each.hide_viewport for each in brow_curves.things_in(scene_piece.pieces_in(bpy.context.scene)[0]))
    bpy.ops.ed.undo()
    again = scene_piece.pieces_in(bpy.context.scene)[0]
    assert not any(each.hide_viewport for each in brow_curves.things_in(again))
    assert np.array_equal(brow_curves.read(again, 1.0)["left"][0], moved)


def test_they_are_kept_with_the_file(laid, tmp_path):
    before = brow_curves.read(laid, 1.0)
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "mine.blend"))
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "mine.blend"))
    after = brow_curves.read(scene_piece.pieces_in(bpy.context.scene)[0], 1.0)
    for side in ("left", "right"):
        assert all(np.array_equal(*pair) for pair in zip(before[side], after[side], strict=True))


def test_they_go_with_the_head(laid):
    before, read = scene_piece.read_piece(laid, bpy.context.scene), brow_curves.read(laid, 1.0)
    larger = before.moved(np.diag([6.0, 6, 6, 1]) @ np.array([[0, -1, 0, 2], [1, 0, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1]]))
    scene_piece.write_piece(larger, bpy.context.scene, laid, before)
    x, y, z = read["right"][1].T
    assert brow_curves.read(laid, 1.0)["right"][1] == pytest.approx(6 * np.stack([2 - y, x, z], axis=1), abs=1e-3)


def test_a_brow_with_one_edge_is_refused(laid):
    curves.remove(scene_piece.object_with(laid, "brow/left-upper"))
    with pytest.raises(RuntimeError, match="left brow's upper curve has 0 points, 3 are needed"):
        bpy.ops.canthus.brows("EXEC_DEFAULT", sides="left", **LEFT)
