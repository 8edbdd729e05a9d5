"""Wrong uses: each is told in one clear sentence, and nothing changes."""

import bpy
import numpy as np
import pytest
from canthus.host.scene import scene_piece
from host.scene_state import state
from small_pieces import egg


def head():
    return scene_piece.object_with(scene_piece.pieces_in(bpy.context.scene)[0], "head")


def mesh_object(name, vertices, faces):
    mesh = bpy.data.meshes.new(name)
    mesh.from_pydata(vertices, [], faces)
    thing = bpy.data.objects.new(name, mesh)
    bpy.context.scene.collection.objects.link(thing)
    bpy.context.view_layer.objects.active = thing
    return thing


def use_nothing():
    bpy.context.view_layer.objects.active = None


def use_lamp():
    lamp = bpy.data.objects.new("Lamp", bpy.data.lights.new("Lamp", "SUN"))
    bpy.context.scene.collection.objects.link(lamp)
    bpy.context.view_layer.objects.active = lamp


def use_mirrored_sphere():
    bpy.ops.mesh.primitive_uv_sphere_add(radius=120)
    bpy.context.object.scale.x = -1


def use_squeezed_sphere():
    bpy.ops.mesh.primitive_uv_sphere_add(radius=120)
    bpy.context.object.scale.x = 2


def use_flat_sphere():
    bpy.ops.mesh.primitive_uv_sphere_add(radius=120)
    bpy.context.object.scale = (0, 0, 0)


def use_child_of_a_squeezed_parent():
    bpy.ops.mesh.primitive_uv_sphere_add(radius=120)
    parent = bpy.data.objects.new("Parent", None)
    bpy.context.scene.collection.objects.link(parent)
    parent.scale.z = 3
    bpy.context.object.parent = parent


def use_modified_sphere():
    bpy.ops.mesh.primitive_uv_sphere_add(radius=120)
    bpy.context.object.modifiers.new("Subdivision", "SUBSURF")


def use_endless_point():
    mesh_object("Endless", [(0, 0, 0), (1, 0, 0), (np.inf, 1, 0)], [(0, 1, 2)])


def use_head_itself():
    bpy.context.view_layer.objects.active = head()


TAKING = [
    (use_nothing, "No object is active"),
    (use_lamp, "Lamp is not a mesh"),
    (lambda: mesh_object("Empty", [], []), '"Empty" is empty'),
    (use_mirrored_sphere, '"Sphere" is mirrored'),
    (use_squeezed_sphere, '"Sphere" is scaled unevenly'),
    (use_flat_sphere, '"Sphere" is scaled to nothing'),
    (use_child_of_a_squeezed_parent, '"Sphere" is scaled unevenly'),
    (use_modified_sphere, "modifier Subdivision"),
    (use_endless_point, "not a finite point"),
    (use_head_itself, "belongs to a head already"),
]


@pytest.mark.parametrize(("prepare", "message"), TAKING, ids=[message for _, message in TAKING])
def test_taking_what_cannot_be_a_scan(prepare, message, scene):
    scene_piece.write_piece(egg(2), scene)
    prepare()
    bpy.context.view_layer.update()
    before = state()
    with pytest.raises(RuntimeError, match=message):
        bpy.ops.canthus.take_object()
    assert state() == before


def mirror_the_head():
    head().scale.x = -1


def squeeze_the_head():
    head().scale.z = 0.5


def modify_the_head():
    head().modifiers.new("Smooth", "SMOOTH")


def strip_the_head():
    mesh = bpy.data.meshes.new("points")
    mesh.from_pydata([(0, 0, 0), (1, 0, 0)], [], [])
    head().data = mesh


def empty_the_head():
    head().data = bpy.data.meshes.new("nothing")


def delete_an_eye():
    bpy.data.objects.remove(scene_piece.object_with(scene_piece.pieces_in(bpy.context.scene)[0], "eye/left"))


def damage_the_record():
    scene_piece.pieces_in(bpy.context.scene)[0]["canthus"] = "nonsense"


def age_the_record():
    piece = scene_piece.pieces_in(bpy.context.scene)[0]
    piece["canthus"] = piece["canthus"].replace('"format": 1', '"format": 0')


HEADS = [
    (mirror_the_head, '"egg head" is mirrored'),
    (squeeze_the_head, '"egg head" is scaled unevenly'),
    (modify_the_head, '"egg head" is changed by the modifier Smooth'),
    (strip_the_head, "lost its faces"),
    (empty_the_head, '"egg head" is empty'),
    (delete_an_eye, "the left eye's empty is gone"),
    (damage_the_record, "its record is damaged"),
    (age_the_record, "format 0: this version reads format 1"),
]


@pytest.mark.parametrize(("prepare", "message"), HEADS, ids=[message for _, message in HEADS])
def test_a_head_that_cannot_be_worked_on(prepare, message, scene):
    scene_piece.write_piece(egg(2), scene)
    prepare()
    bpy.context.view_layer.update()
    before = state()
    with pytest.raises(RuntimeError, match=message):
        bpy.ops.canthus.scale()
    assert state() == before


EMPTY_SCENE = [
    ("scale", {}, "There is no head in this scene"),
    ("hollow", {}, "There is no head in this scene"),
    ("make", {}, "There is no scan yet"),
    ("export", {"directory": "x"}, "There is no closed head"),
    ("load", {}, "No file was named"),
    ("load", {"filepath": "/nowhere/sitter.ply"}, "sitter.ply"),
    ("load", {"filepath": __file__}, "test_wrong_use.py"),
    ("stop", {}, "poll"),
]


@pytest.mark.parametrize(("button", "settings", "message"), EMPTY_SCENE)
def test_pressing_in_an_empty_scene(button, settings, message):
    before = state()
    with pytest.raises(RuntimeError, match=message):
        getattr(bpy.ops.canthus, button)(**settings)
    assert state() == before


@pytest.mark.parametrize(
    ("button", "settings", "message"),
    [
        ("carve_sockets", {}, "No eyes are placed yet"),
        ("make_eyes", {}, "No eyes are placed yet"),
        ("cull_strays", {}, "There is no scan yet"),
        ("scale", {"ratio": "1/0"}, "ratio"),
        ("scale", {"ratio": "900"}, "from 0.01 to 4"),
        ("export", {"directory": "//x", "stl": False, "package": False, "colours": False}, "nothing to write"),
    ],
)
def test_pressing_too_early_or_with_nonsense(button, settings, message, scene):
    scene_piece.write_piece(egg(2).but(eyes=(), parts={}), scene)
    before = state()
    with pytest.raises(RuntimeError, match=message):
        getattr(bpy.ops.canthus, button)(**settings)
    assert state() == before


def test_a_mesh_with_two_users_is_worked_on_alone(scene):
    collection = scene_piece.write_piece(egg(2), scene)
    twin = bpy.data.objects.new("twin", scene_piece.object_with(collection, "head").data)
    scene.collection.objects.link(twin)
    before = [tuple(vertex.co) for vertex in twin.data.vertices]
    bpy.ops.canthus.scale()
    assert [tuple(vertex.co) for vertex in twin.data.vertices] == before


def test_a_hidden_head_is_worked_on_where_it_stands(scene):
    collection = scene_piece.write_piece(egg(2), scene)
    head().location.z, head().hide_viewport = 100, True
    bpy.ops.canthus.scale(ratio="1/2")
    piece = scene_piece.read_piece(collection, scene)
    assert piece.head.vertices[:, 2].mean() == pytest.approx((100 + 1 / 3) / 2, abs=1e-3)


def test_linked_heads_are_told(scene, tmp_path):
    scene_piece.write_piece(egg(2), scene)
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "library.blend"))
    bpy.ops.wm.read_homefile(use_empty=True, use_factory_startup=True)
    with bpy.data.libraries.load(str(tmp_path / "library.blend"), link=True) as (_, wanted):
        wanted.collections = ["Canthus egg"]
    bpy.context.scene.collection.children.link(bpy.data.collections["Canthus egg"])
    before = state()
    for press in (bpy.ops.canthus.scale, bpy.ops.canthus.close, bpy.ops.canthus.paint_mask):
        with pytest.raises(RuntimeError, match=r"linked from another file|no scan yet"):
            press()
    assert state() == before
