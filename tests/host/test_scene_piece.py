"""A workpiece in the scene: it comes back as it was, and what was moved by hand is what counts."""

import bpy
import numpy as np
import pytest
from canthus.geometry.cloud import Cloud
from canthus.geometry.errors import BadFile, BadMesh
from canthus.host.scene import looks, scene_piece
from canthus.job.store import pack
from mathutils import Vector


def same(one, other):
    arrays, facts = pack(one)
    others, other_facts = pack(other)
    assert facts == other_facts
    assert set(arrays) == set(others)
    for name, array in arrays.items():
        np.testing.assert_allclose(others[name], array, rtol=0, atol=1e-11, err_msg=name)


def placed(piece, scene):
    collection = scene_piece.write_piece(piece, scene)
    bpy.context.view_layer.update()
    return collection


def test_it_comes_back_as_it_went(piece, scene):
    same(piece, scene_piece.read_piece(placed(piece, scene), scene))


def test_it_comes_back_from_a_scene_in_metres(piece, scene):
    scene.unit_settings.scale_length = 1.0
    collection = placed(piece, scene)
    assert scene_piece.object_with(collection, "head").dimensions.z == pytest.approx(0.23, abs=1e-3)
    same(piece, scene_piece.read_piece(collection, scene))


def test_it_survives_saving_and_opening(piece, scene, tmp_path):
    placed(piece, scene)
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "head.blend"))
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "head.blend"))
    same(piece, scene_piece.read_piece(scene_piece.pieces_in(bpy.context.scene)[0], bpy.context.scene))


def test_a_landmark_moved_by_hand_is_sure_and_says_so(piece, scene):
    collection = placed(piece, scene)
    scene_piece.object_with(collection, "landmark/pronasale").location = (1, -118, -29)
    bpy.context.view_layer.update()
    mark = scene_piece.read_piece(collection, scene).landmarks["pronasale"]
    assert mark.position == pytest.approx((1, -118, -29))
    assert (mark.confidence, mark.source) == (1.0, "placed")


def test_a_landmark_left_alone_keeps_its_doubt(piece, scene):
    mark = scene_piece.read_piece(placed(piece, scene), scene).landmarks["pronasale"]
    assert (mark.confidence, mark.source) == (0.3, "proposed")


def test_a_landmark_deleted_by_hand_is_gone(piece, scene):
    collection = placed(piece, scene)
    bpy.data.objects.remove(scene_piece.object_with(collection, "landmark/sellion"))
    assert set(scene_piece.read_piece(collection, scene).landmarks) == {"pronasale"}


def test_an_eye_rolled_by_hand_looks_elsewhere(piece, scene):
    collection = placed(piece, scene)
    thing = scene_piece.object_with(collection, "eye/left")
    thing.rotation_euler.rotate_axis("Z", np.radians(10))
    bpy.context.view_layer.update()
    left, right = scene_piece.read_piece(collection, scene).eyes
    assert Vector(left.gaze).angle(Vector((0, -1, 0))) == pytest.approx(np.radians(10), abs=1e-5)
    assert right == piece.eyes[1]


def test_only_what_changed_is_written(piece, scene):
    collection = placed(piece, scene)
    untouched = scene_piece.object_with(collection, "parts/eye-left").data.session_uid
    rewritten = scene_piece.object_with(collection, "head").data.session_uid
    before = scene_piece.read_piece(collection, scene)
    after = before.but(head=before.head.moved(np.diag([2.0, 2.0, 2.0, 1.0])))
    scene_piece.write_piece(after, scene, collection, before)
    assert scene_piece.object_with(collection, "parts/eye-left").data.session_uid == untouched
    assert scene_piece.object_with(collection, "head").data.session_uid != rewritten


def test_parts_that_are_no_more_are_taken_away(piece, scene):
    collection = placed(piece, scene)
    before = scene_piece.read_piece(collection, scene)
    scene_piece.write_piece(before.but(parts={}, eyes=(), landmarks={}), scene, collection, before)
    assert {scene_piece.role_of(each) for each in collection.objects} == {"head", "skin"}


def test_a_damaged_record_is_told(piece, scene):
    collection = placed(piece, scene)
    collection[scene_piece.RECORD] = "{half"
    with pytest.raises(BadFile, match="record is damaged"):
        scene_piece.read_piece(collection, scene)


def test_a_later_version_is_told(piece, scene):
    collection = placed(piece, scene)
    collection[scene_piece.RECORD] = str(collection[scene_piece.RECORD]).replace('"format": 1', '"format": 99')
    with pytest.raises(BadFile, match="format 99"):
        scene_piece.read_piece(collection, scene)


def test_a_head_without_faces_is_told(piece, scene):
    collection = placed(piece, scene)
    mesh = bpy.data.meshes.new("points")
    mesh.from_pydata([(0, 0, 0)], [], [])
    scene_piece.object_with(collection, "head").data = mesh
    with pytest.raises(BadMesh, match="lost its faces"):
        scene_piece.read_piece(collection, scene)


def test_sensors_of_a_cloud_are_kept(scene, piece):
    cloud = Cloud(np.random.default_rng(0).normal(size=(9, 3)), sensors=np.array([[0.0, -600.25, 10.5]]))
    same(piece.but(scan=cloud), scene_piece.read_piece(placed(piece.but(scan=cloud), scene), scene))


def test_a_scene_of_an_earlier_version_is_read_and_worked_on(piece, scene, tmp_path):
    """The first ones had neither margins as curves, nor the rest of 64 bits, nor dots for their scans."""
    cloud = Cloud(np.random.default_rng(0).normal(size=(3000, 3)))
    collection = placed(piece.but(scan=cloud), scene)
    for thing in list(collection.objects):
        if thing.type == "CURVE":
            bpy.data.objects.remove(thing)
            continue
        if "canthus_area" in thing:
            del thing["canthus_area"]
        if thing.type == "MESH":
            for name in [each.name for each in thing.data.attributes if each.name.startswith(".canthus")]:
                thing.data.attributes.remove(thing.data.attributes[name])
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "old.blend"))
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "old.blend"))
    collection = scene_piece.pieces_in(bpy.context.scene)[0]
    read = scene_piece.read_piece(collection, bpy.context.scene)
    np.testing.assert_allclose(read.head.vertices, piece.head.vertices, atol=1e-4)
    np.testing.assert_allclose(read.eyes[0].opening, piece.eyes[0].opening)
    assert looks.spacing(scene_piece.object_with(collection, "scan"), 100) == 0.0
    assert bpy.ops.canthus.scale(ratio="1/6") == {"FINISHED"}
