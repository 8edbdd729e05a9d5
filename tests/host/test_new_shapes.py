"""Meshes written a stretch at a time, and those that are copied because their shape has only moved: the same bits."""

import bpy
import numpy as np
import pytest
from canthus.geometry.cloud import Cloud
from canthus.geometry.mesh import Mesh
from canthus.geometry.transforms import rotation
from canthus.host.scene import scene_piece
from canthus.host.scene.exchange import millimetres_per_unit
from canthus.host.scene.new_shapes import NewShapes
from small_pieces import egg


def marked(piece):
    """The piece with colours, normals and columns of every kind, and as its own scan."""
    mesh = piece.head
    count = len(mesh.vertices)
    rng = np.random.default_rng(3)
    columns = {
        "height": np.where(rng.random(count) < 0.1, np.nan, rng.normal(size=count)),
        "region": np.arange(count, dtype=np.int32),
        "seen": mesh.vertices[:, 0] > 0,
    }
    colours = rng.integers(0, 255, (count, 3), np.uint8)
    cloud = Cloud(mesh.vertices, mesh.vertices / 100, colours, columns)
    return piece.but(head=Mesh(mesh.vertices, mesh.triangles, colours, columns), scan=cloud, skin=mesh)


def turned(piece):
    matrix = np.eye(4)
    matrix[:3, :3], matrix[:3, 3] = rotation((0.3, 1.0, 0.2), 0.7) / 6, (1.0, 2.0, 3.0)
    return piece.moved(matrix)


def assert_same(one, other):
    for name in ("scan", "head", "skin"):
        ours, theirs = getattr(one, name), getattr(other, name)
        places = "points" if isinstance(ours, Cloud) else "vertices"
        np.testing.assert_array_equal(getattr(ours, places), getattr(theirs, places))
        np.testing.assert_array_equal(ours.colours, theirs.colours)
        assert ours.columns.keys() == theirs.columns.keys()
        for column, values in ours.columns.items():
            np.testing.assert_array_equal(values, theirs.columns[column])
    np.testing.assert_array_equal(one.head.triangles, other.head.triangles)
    np.testing.assert_array_equal(one.scan.normals, other.scan.normals)


def test_a_head_that_was_moved_is_read_again_to_the_last_bit(scene, piece):
    collection = scene_piece.write_piece(marked(piece), scene)
    before = scene_piece.read_piece(collection, scene)
    after = turned(before)
    edges = len(scene_piece.object_with(collection, "head").data.edges)
    scene_piece.write_piece(after, scene, collection, before)
    assert_same(after, scene_piece.read_piece(collection, scene))
    assert len(scene_piece.object_with(collection, "head").data.edges) == edges


def test_columns_that_changed_or_went_are_those_of_the_new_shape(scene, piece):
    collection = scene_piece.write_piece(marked(piece), scene)
    before = scene_piece.read_piece(collection, scene)
    mesh = before.head
    head = Mesh(mesh.vertices, mesh.triangles, mesh.colours, {"height": 2 * mesh.columns["height"]})
    scene_piece.write_piece(before.but(head=head), scene, collection, before)
    assert_same(before.but(head=head), scene_piece.read_piece(collection, scene))


@pytest.mark.parametrize("change", ["faces", "colours"])
def test_what_hangs_together_otherwise_is_written_anew(scene, piece, change):
    collection = scene_piece.write_piece(marked(piece), scene)
    before = scene_piece.read_piece(collection, scene)
    mesh = before.head
    if change == "faces":
        head = Mesh(mesh.vertices, np.roll(mesh.triangles, 1, axis=0), mesh.colours, mesh.columns)
    else:
        head = Mesh(mesh.vertices, mesh.triangles, 255 - mesh.colours, mesh.columns)
    scene_piece.write_piece(before.but(head=head), scene, collection, before)
    assert_same(before.but(head=head), scene_piece.read_piece(collection, scene))


def test_an_undo_or_a_cancel_between_two_stretches_loses_nothing(scene, piece):
    collection = scene_piece.write_piece(egg(2), scene)
    before = scene_piece.read_piece(collection, scene)
    after = turned(before)
    meshes = len(bpy.data.meshes)
    new = NewShapes(after, before, collection, millimetres_per_unit(scene))
    assert new.go_on()
    assert len(bpy.data.meshes) == meshes + 1
    new.drop()
    assert len(bpy.data.meshes) == meshes
    new = NewShapes(after, before, collection, millimetres_per_unit(scene))
    while new.go_on():
        pass
    for each in [each for each in bpy.data.meshes if not each.users]:  # as an undo does with what no step holds
        bpy.data.meshes.remove(each)
    scene_piece.write_piece(after, scene, collection, before, new)
    np.testing.assert_array_equal(scene_piece.read_piece(collection, scene).head.vertices, after.head.vertices)


def test_a_scene_nobody_touched_is_what_was_read(scene, piece):
    """Values that are no number among it: they are not equal to themselves."""
    collection = scene_piece.write_piece(marked(piece), scene)
    one, other = (scene_piece.read_piece(collection, scene) for _ in range(2))
    assert scene_piece.same_piece(one, other)
    scene_piece.object_with(collection, "head").data.vertices[3].co.x += 1e-4
    assert not scene_piece.same_piece(one, scene_piece.read_piece(collection, scene))
