"""What is done by hand besides the steps: landmarks, maps, what is shown, recipes."""

import bpy
import numpy as np
import pytest
from canthus.geometry.transforms import rotation
from canthus.host.buttons import viewport
from canthus.host.drawn import maps
from canthus.host.scene import scene_piece, wording
from canthus.steps.workpiece import Done, Landmark
from demo_heads import demo_head
from host.scene_state import state
from small_pieces import egg


@pytest.fixture
def collection(piece, scene):
    head = piece.head
    coloured = type(head)(
        head.vertices, head.triangles, np.full((len(head.vertices), 3), 200, np.uint8), {"height": head.vertices[:, 2]}
    )
    return scene_piece.write_piece(piece.but(head=coloured, history=(Done("pose", {}),)), scene)


def landmarks():
    return scene_piece.read_piece(scene_piece.pieces_in(bpy.context.scene)[0], bpy.context.scene).landmarks


def test_a_landmark_is_set_by_place(collection):
    bpy.ops.canthus.set_landmark(landmark="exocanthion-left", position=(45, -80, 10))
    assert landmarks()["exocanthion-left"].position == pytest.approx((45, -80, 10))
    assert landmarks()["exocanthion-left"].source == "placed"


def test_landmarks_are_laid_on_the_surface(collection, piece):
    """The nearest place of a finely divided egg lies on the ellipsoid, within its facets' height."""
    bpy.ops.canthus.set_landmark(landmark="vertex", position=(0, 0, 140))
    bpy.ops.canthus.snap_landmarks()
    assert landmarks()["vertex"].position == pytest.approx((0, 0, 115 + 1 / 3), abs=0.5)


def test_landmarks_are_mirrored_about_the_middle(collection):
    bpy.ops.canthus.set_landmark(landmark="exocanthion-left", position=(45, -80, 10))
    bpy.ops.canthus.mirror_landmarks(side="left")
    assert landmarks()["exocanthion-right"].position == pytest.approx((-45, -80, 10))


def test_without_a_pose_there_is_no_middle(piece, scene):
    scene_piece.write_piece(piece, scene)
    before = state()
    with pytest.raises(RuntimeError, match="not posed yet"):
        bpy.ops.canthus.mirror_landmarks(side="left")
    assert state() == before


def test_a_map_is_painted_and_wiped(collection):
    head = scene_piece.object_with(collection, "head")
    bpy.context.view_layer.objects.active = head
    bpy.ops.canthus.show_map(column="height")
    assert head.data.color_attributes.active_color.name == maps.ATTRIBUTE
    assert head["canthus_map"]["low"] < 0 < head["canthus_map"]["high"]
    bpy.ops.canthus.show_map(column="")
    assert head.data.color_attributes.active_color.name == "Color"


def test_a_map_does_not_become_the_head_s_colours(collection, scene):
    bpy.context.view_layer.objects.active = scene_piece.object_with(collection, "head")
    bpy.ops.canthus.show_map(column="height")
    assert (scene_piece.read_piece(collection, scene).head.colours == 200).all()


def test_values_that_are_not_there_are_told_with_those_that_are(collection):
    bpy.context.view_layer.objects.active = scene_piece.object_with(collection, "head")
    with pytest.raises(RuntimeError, match="it has height"):
        bpy.ops.canthus.show_map(column="depth")


def test_the_ends_of_a_map_are_apart_and_its_middle_is_pale():
    colours = maps.colours_of(np.array([-1.0, 0.0, 1.0]), -1.0, 1.0)
    low, middle, high = colours[:, :3]
    assert low[2] > low[0]
    assert high[0] > high[2]
    assert middle.min() > 0.8


def test_a_map_is_bent_where_most_values_lie_together():
    """The middle one of many small values and a few large ones lies at least three tenths up the colours."""
    values = np.concatenate([np.linspace(0.05, 0.15, 900), np.linspace(1, 34, 100)])
    bend = maps.bend_of(values, 0.05, 34.0)
    assert maps._MOST_BENT <= bend < 1
    middle = ((np.median(values) - 0.05) / (34 - 0.05)) ** bend
    assert middle > 5 * (np.median(values) - 0.05) / (34 - 0.05)
    assert maps.bend_of(np.linspace(0, 1, 50), 0.0, 1.0) == 1.0
    assert maps.bend_of(np.linspace(-1, 1, 50), -1.0, 1.0) == 1.0


def test_before_and_after_are_shown(collection):
    bpy.ops.canthus.show_form(form="skin")
    assert not scene_piece.object_with(collection, "skin").hide_viewport
    assert scene_piece.object_with(collection, "head").hide_viewport
    bpy.ops.canthus.show_form(form="parts")
    assert not scene_piece.object_with(collection, "parts/eye-left").hide_viewport
    assert scene_piece.object_with(collection, "skin").hide_viewport
    with pytest.raises(RuntimeError, match="no scan yet"):
        bpy.ops.canthus.show_form(form="scan")


def test_a_recipe_is_kept_and_done_to_the_next_head(scene, tmp_path):
    scene_piece.write_piece(egg(3, "first").but(scan=egg(3).head), scene)
    bpy.ops.canthus.scale(ratio="1/9")
    bpy.ops.canthus.save_recipe(filepath=str(tmp_path / "mine.toml"))
    bpy.ops.wm.read_homefile(use_empty=True, use_factory_startup=True)
    scene_piece.write_piece(egg(3, "second").but(scan=egg(3).head), bpy.context.scene)
    bpy.ops.canthus.run_recipe(filepath=str(tmp_path / "mine.toml"))
    piece = scene_piece.read_piece(bpy.data.collections["Canthus second"], bpy.context.scene)
    assert piece.scale == pytest.approx(1 / 9, abs=1e-12)
    assert bpy.context.scene.canthus.scale.ratio == "1/9"


def test_a_recipe_that_is_none_is_told(scene, tmp_path):
    scene_piece.write_piece(egg(3).but(scan=egg(3).head), scene)
    (tmp_path / "no.toml").write_text("this is no recipe")
    before = state()
    with pytest.raises(RuntimeError, match=r"no\.toml"):
        bpy.ops.canthus.run_recipe(filepath=str(tmp_path / "no.toml"))
    assert state() == before


def test_a_map_is_called_by_its_words_with_the_unit_in_brackets():
    assert maps.words_for("distance_from_data_mm") == "Distance from data (mm)"
    assert maps.words_for("confidence") == "Confidence"


def test_landmarks_are_shown_and_hidden(collection):
    mark = scene_piece.object_with(collection, "landmark/sellion")
    assert mark.hide_viewport  # the eyes are made
    bpy.ops.canthus.show_landmarks()
    assert not mark.hide_viewport
    bpy.ops.canthus.show_landmarks()
    assert mark.hide_viewport
    bpy.ops.canthus.set_landmark(landmark="exocanthion-left", position=(45, -80, 10))
    assert not mark.hide_viewport


def test_a_sentence_names_settings_and_steps_as_the_sidebar_does():
    assert wording.as_shown("the lids: least_lid in rebuild-lids, in millimetres") == (
        "The lids: Least Lid in Rebuild Lids, in millimeters"
    )
    assert wording.as_shown("sitter.ply: not a scan") == "sitter.ply: not a scan"


def test_a_face_not_posed_yet_is_looked_at_as_it_will_be_once_posed(scene):
    """Turned any way, it is seen from where a posed one is: the view turns with the head."""
    head = demo_head(0)
    marks = {name: Landmark(tuple(place), 1.0, "proposed") for name, place in head.truth.landmarks.items()}
    turn = rotation((0.2, 1.0, -0.4), 1.9)
    matrix = np.eye(4)
    matrix[:3, :3] = turn
    straight = egg(2).but(landmarks=marks)
    one, other = viewport.three_quarter(straight), viewport.three_quarter(straight.moved(matrix))
    turned = np.array(other.to_matrix()) @ np.array(one.to_matrix()).T
    np.testing.assert_allclose(turned, turn, atol=1e-5)


def test_a_mesh_laid_on_the_head_becomes_its_hair_and_one_without_faces_does_not(collection, scene):
    bpy.ops.mesh.primitive_uv_sphere_add(radius=90, location=(0, 10, 60))
    wig = bpy.context.object
    assert bpy.ops.canthus.take_hair() == {"FINISHED"}
    piece = scene_piece.read_piece(collection, scene)
    assert piece.parts["hair"].vertices.mean(axis=0) == pytest.approx((0, 10, 60), abs=1)
    assert wig.hide_get()
    bare = bpy.data.objects.new("Bare", bpy.data.meshes.new("Bare"))
    bare.data.from_pydata([(0, 0, 0), (1, 0, 0)], [], [])
    scene.collection.objects.link(bare)
    bpy.context.view_layer.objects.active = bare
    before = state()
    with pytest.raises(RuntimeError, match='"Bare" has no faces'):
        bpy.ops.canthus.take_hair()
    assert state() == before
