"""The door between Blender's meshes and arrays: nothing lost, units and placement applied, misuse refused."""

import bpy
import numpy as np
import pytest
from canthus.geometry.cloud import Cloud
from canthus.geometry.errors import BadMesh
from canthus.geometry.mesh import Mesh
from canthus.geometry.solids.primitives import icosphere
from canthus.host.scene import exchange


def put(shape, unit=1.0):
    thing = bpy.data.objects.new("thing", exchange.new_data("thing", shape, unit))
    bpy.context.scene.collection.objects.link(thing)
    return thing


@pytest.fixture
def coloured():
    ball = icosphere(3, 100 / 3)
    rng = np.random.default_rng(1)
    count = len(ball.vertices)
    columns = {
        "confidence": rng.random(count),
        "label": rng.integers(-5, 2_000_000_000, count).astype(np.int32),
        "seen": rng.random(count) < 0.5,
    }
    return Mesh(ball.vertices, ball.triangles, rng.integers(0, 256, (count, 3)).astype(np.uint8), columns)


def test_a_mesh_comes_back_as_it_went(coloured):
    back = exchange.read_object(put(coloured), 1.0)
    np.testing.assert_allclose(back.vertices, coloured.vertices, rtol=0, atol=1e-12)
    np.testing.assert_array_equal(back.triangles, coloured.triangles)
    np.testing.assert_array_equal(back.colours, coloured.colours)
    np.testing.assert_array_equal(back.columns["label"], coloured.columns["label"])
    np.testing.assert_array_equal(back.columns["seen"], coloured.columns["seen"])
    np.testing.assert_allclose(back.columns["confidence"], coloured.columns["confidence"], rtol=0, atol=1e-14)
    assert set(back.columns) == set(coloured.columns)


def test_a_cloud_comes_back_as_it_went():
    rng = np.random.default_rng(2)
    normals = rng.normal(size=(50, 3)).astype(np.float32).astype(float)
    cloud = Cloud(rng.normal(size=(50, 3)) * 200, normals)
    back = exchange.read_object(put(cloud), 1.0)
    assert isinstance(back, Cloud)
    np.testing.assert_allclose(back.points, cloud.points, rtol=0, atol=1e-11)
    np.testing.assert_array_equal(back.normals, normals)


def test_not_one_bit_is_lost_on_the_way():
    rng = np.random.default_rng(3)
    points, normals = 100 * rng.standard_normal((500, 3)) ** 3, rng.standard_normal((500, 3))
    cloud = Cloud(points, normals, columns={"gap": rng.standard_normal(500)})
    back = exchange.read_object(bpy.data.objects.new("cloud", exchange.new_data("cloud", cloud, 1.0)), 1.0)
    assert np.array_equal(back.points, points)
    assert np.array_equal(back.normals, normals)
    assert np.array_equal(back.columns["gap"], cloud.columns["gap"])


def test_metres_in_the_scene_are_millimetres_inside(scene):
    """The host: one unit is `scale_length` metres (its manual, scene units)."""
    scene.unit_settings.scale_length = 1.0
    assert exchange.millimetres_per_unit(scene) == 1000
    thing = put(icosphere(2, 120.0), 1000.0)
    assert thing.dimensions.z == pytest.approx(0.24)
    back = exchange.read_object(thing, 1000.0)
    assert np.ptp(back.vertices[:, 2]) == pytest.approx(240.0, abs=1e-9)


def test_the_scale_of_a_millimetre_scene_is_exact(scene):
    """0.001 is not a 32-bit number: 1000 times it is 1.00000004749745."""
    assert 1000 * scene.unit_settings.scale_length != 1
    assert exchange.millimetres_per_unit(scene) == 1


def test_where_an_object_stands_is_applied():
    thing = put(icosphere(2, 10.0))
    thing.location, thing.rotation_euler.z, thing.scale = (5, 6, 7), np.pi / 2, (2, 2, 2)
    bpy.context.view_layer.update()
    back = exchange.read_object(thing, 1.0)
    np.testing.assert_allclose(back.vertices.mean(axis=0), (5, 6, 7), atol=1e-5)
    assert np.ptp(back.vertices[:, 0]) == pytest.approx(40.0, abs=1e-3)


def test_a_parent_counts():
    thing, parent = put(icosphere(1, 10.0)), bpy.data.objects.new("parent", None)
    bpy.context.scene.collection.objects.link(parent)
    parent.location.x, thing.parent = 50, parent
    bpy.context.view_layer.update()
    assert exchange.read_object(thing, 1.0).vertices[:, 0].mean() == pytest.approx(50)


@pytest.mark.parametrize(
    ("scale", "word"),
    [((-1, 1, 1), "mirrored"), ((1, 2, 1), "unevenly"), ((0, 0, 0), "nothing"), ((1, 1, -1), "mirrored")],
)
def test_a_scale_that_would_change_the_shape_is_refused_by_name(scale, word):
    thing = put(icosphere(1, 10.0))
    thing.scale = scale
    bpy.context.view_layer.update()
    with pytest.raises(BadMesh, match=rf'^"thing" .*{word}'):
        exchange.read_object(thing, 1.0)


def test_quads_are_cut_into_triangles():
    bpy.ops.mesh.primitive_cube_add(size=2)
    back = exchange.read_object(bpy.context.object, 1.0)
    assert len(back.triangles) == 12


def test_what_is_no_mesh_is_refused():
    lamp = bpy.data.objects.new("lamp", bpy.data.lights.new("lamp", "POINT"))
    with pytest.raises(BadMesh, match='"lamp" is not a mesh'):
        exchange.read_object(lamp, 1.0)


def test_an_empty_mesh_is_refused():
    thing = bpy.data.objects.new("nothing", bpy.data.meshes.new("nothing"))
    with pytest.raises(BadMesh, match='"nothing" is empty'):
        exchange.read_object(thing, 1.0)


def test_a_modifier_that_changes_the_shape_is_refused_and_one_switched_off_is_not():
    thing = put(icosphere(1, 10.0))
    thing.modifiers.new("Bend", "SIMPLE_DEFORM")
    with pytest.raises(BadMesh, match="modifier Bend: apply it"):
        exchange.read_object(thing, 1.0)
    thing.modifiers["Bend"].show_viewport = False
    assert len(exchange.read_object(thing, 1.0).vertices) == 42


def test_what_is_edited_by_hand_is_read():
    thing = put(icosphere(1, 10.0))
    bpy.context.view_layer.objects.active = thing
    thing.data.vertices[0].co = (1, 2, 3)
    np.testing.assert_allclose(exchange.read_object(thing, 1.0).vertices[0], (1, 2, 3), atol=1e-5)
