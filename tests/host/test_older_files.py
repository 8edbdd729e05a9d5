"""A scene saved by an older version of the extension opens, and the work goes on; one of a later version says why not.

`older_record.json` is the record of the first demo scene with eyes that was ever saved (every sixth point of its
margins), from before margins were curves and eyes had seats: the objects beside it are made here as they were then.
"""

import json
from pathlib import Path

import bpy
import pytest
from canthus.geometry.solids.primitives import icosphere
from canthus.host.scene import exchange, scene_piece, states
from host.scene_state import state
from mathutils import Vector

RECORD = json.loads((Path(__file__).parent / "older_record.json").read_text(encoding="utf-8"))


@pytest.fixture
def older(scene, tmp_path):
    """The scene as the first version saved it: a head, empties, a record; opened from a file."""
    collection = bpy.data.collections.new("Canthus sitter")
    scene.collection.children.link(collection)
    head = bpy.data.objects.new("sitter head", exchange.new_data("head", icosphere(4, 20.0), 1.0))
    things = {"head": head}
    for name, mark in RECORD["landmarks"].items():
        things[f"landmark/{name}"] = empty(name, mark["position"])
    for eye in RECORD["eyes"]:
        things[f"eye/{eye['side']}"] = empty(f"eye {eye['side']}", eye["centre"])
        turn = (-Vector(eye["gaze"])).to_track_quat("Y", "Z").to_matrix().to_4x4()
        things[f"eye/{eye['side']}"].matrix_basis @= turn
    for role, thing in things.items():
        thing["canthus_role"] = role
        collection.objects.link(thing)
    collection["canthus"] = json.dumps(RECORD)
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "older.blend"))
    bpy.ops.wm.read_homefile(use_empty=True, use_factory_startup=True)
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "older.blend"))
    return scene_piece.pieces_in(bpy.context.scene)[0]


def empty(name, place):
    thing = bpy.data.objects.new(name, None)
    thing.matrix_basis.translation = place
    return thing


def test_it_is_read_with_all_it_knew(older):
    piece = scene_piece.read_piece(older, bpy.context.scene)
    assert {name: mark.confidence for name, mark in piece.landmarks.items()} == {
        name: mark["confidence"] for name, mark in RECORD["landmarks"].items()
    }
    assert [(eye.side, eye.diameter) for eye in piece.eyes] == [
        (eye["side"], eye["diameter"]) for eye in RECORD["eyes"]
    ]
    assert piece.eyes[0].centre == pytest.approx(RECORD["eyes"][0]["centre"])
    assert piece.eyes[0].opening.shape == (len(RECORD["openings"]["0"]), 3)
    assert states.history_of(older)[-1] == "place-eyes"


def test_the_work_goes_on_and_can_be_taken_back(older):
    bpy.ops.ed.undo_push(message="opened")
    before = state()
    assert bpy.ops.canthus.scale("EXEC_DEFAULT", True, ratio="1/8") == {"FINISHED"}
    collection = scene_piece.pieces_in(bpy.context.scene)[0]
    assert scene_piece.read_piece(collection, bpy.context.scene).scale == pytest.approx(1 / 8)
    assert scene_piece.object_with(collection, "margin/left") is not None  # what it lacked is made
    bpy.ops.ed.undo()
    assert state() == before


def test_one_of_a_later_version_says_why_it_cannot(older):
    older["canthus"] = json.dumps({**RECORD, "format": 2})
    with pytest.raises(RuntimeError, match="format 2: this version reads format 1"):
        bpy.ops.canthus.scale()
