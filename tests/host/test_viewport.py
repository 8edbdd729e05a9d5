"""The view goes with the head: as it grows or shrinks, and when that is undone."""

import bpy
import numpy as np
import pytest
from canthus.host.buttons import plain_view, viewport
from canthus.host.scene import scene_piece
from mathutils import Quaternion, Vector
from small_pieces import egg


@pytest.fixture
def view(scene, monkeypatch):
    """A 3D view as far as it is moved: the factory's screen has one, though nothing is drawn on it."""
    bpy.ops.wm.read_homefile(use_empty=False, use_factory_startup=True)
    bpy.context.scene.unit_settings.scale_length = 0.001
    made = scene_piece.write_piece(egg(), bpy.context.scene)
    bpy.context.view_layer.objects.active = scene_piece.object_with(made, "head")
    spaces = list(viewport.views(bpy.context))
    assert spaces
    space = spaces[0]
    space.clip_start, space.clip_end = 0.5, 24_000
    space.region_3d.view_location, space.region_3d.view_distance = (30, -80, 10), 90
    space.region_3d.view_rotation = Quaternion((0, 0, 1), 0.3)
    bpy.ops.ed.undo_push(message="looked at from near")
    return space


def seen(space):
    """The head's own place, size and turn in the view: what is on the screen."""
    collection = scene_piece.pieces_in(bpy.context.scene)[0]
    head = scene_piece.object_with(collection, "head")
    corner = head.data.vertices[7].co
    view = space.region_3d
    off = view.view_rotation.inverted() @ (Vector(corner) - view.view_location)
    return np.array([*(off / view.view_distance), space.clip_end / view.view_distance])


def test_a_head_that_shrinks_is_seen_as_before_and_so_when_that_is_undone(view):
    before = seen(view)
    assert bpy.ops.canthus.scale("EXEC_DEFAULT", True, ratio="1/6") == {"FINISHED"}
    assert view.region_3d.view_distance == pytest.approx(15.0)
    assert seen(view) == pytest.approx(before, abs=1e-4)
    bpy.ops.ed.undo()
    assert view.region_3d.view_distance == pytest.approx(90.0)
    assert seen(view) == pytest.approx(before, abs=1e-4)
    bpy.ops.ed.redo()
    assert seen(view) == pytest.approx(before, abs=1e-4)


def test_an_undo_of_what_moved_nothing_leaves_the_view_alone(view):
    bpy.ops.canthus.smooth("EXEC_DEFAULT", True, passes=1)
    view.region_3d.view_distance = 55.0
    bpy.ops.ed.undo()
    assert view.region_3d.view_distance == pytest.approx(55.0)


def test_a_posed_head_is_framed_by_what_it_is_now(view):
    """Tilted by 45 degrees the egg has another box: it is seen from 1.7 times the new one's length, its middle in the
    middle. The host's own box is that of the head before for a while.
    """
    assert bpy.ops.canthus.pose("EXEC_DEFAULT", True, up="0,1,1", front="0,-1,1") == {"FINISHED"}
    head = scene_piece.object_with(scene_piece.pieces_in(bpy.context.scene)[0], "head")
    places = np.array([vertex.co for vertex in head.data.vertices])
    assert view.region_3d.view_distance == pytest.approx(1.7 * np.ptp(places, axis=0).max(), rel=1e-4)
    middle = (places.min(axis=0) + places.max(axis=0)) / 2
    assert np.array(view.region_3d.view_location) == pytest.approx(middle, abs=1e-3)


def test_an_undone_pose_turns_the_view_back_with_the_head(view):
    assert bpy.ops.canthus.pose("EXEC_DEFAULT", True, up="0,1,0", front="0,0,1") == {"FINISHED"}
    posed = seen(view)
    bpy.ops.ed.undo()
    assert seen(view) == pytest.approx(posed, abs=1e-4)


def test_a_view_is_drawn_plainly_and_then_as_it_was(view):
    view.overlay.show_axis_x = False
    view.shading.show_cavity = True
    names = [("shading", "show_cavity"), ("shading", "show_object_outline"), ("overlay", "show_floor")]
    names += [("overlay", "show_axis_x"), ("overlay", "show_axis_y")]
    before = [getattr(getattr(view, holder), name) for holder, name in names]
    kept = plain_view.switched_off(bpy.context)
    assert not any(getattr(getattr(view, holder), name) for holder, name in names)
    plain_view.end(bpy.context, kept)
    assert [getattr(getattr(view, holder), name) for holder, name in names] == before


def test_only_a_driver_that_draws_with_the_processor_is_spared():
    """Names as the drivers give them: from memory."""
    assert plain_view.slow("llvmpipe (LLVM 19.1.7, 256 bits)")
    assert plain_view.slow("Microsoft Basic Render Driver")
    assert not plain_view.slow("Graphics Adapter 4060/PCIe/SSE2")
