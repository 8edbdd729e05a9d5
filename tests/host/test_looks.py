"""What is drawn of a cloud: all of a small one, as many points of a large one as the view can turn."""

import bpy
import numpy as np
import pytest
from canthus.geometry.cloud import Cloud
from canthus.host.drawn import clouds
from canthus.host.scene import scene_piece
from canthus.steps.workpiece import Workpiece


def drawn(count):
    """How many points the view is given of a cloud of so many, and the object."""
    directions = np.random.default_rng(4).normal(size=(count, 3))
    cloud = Cloud(100 * directions / np.linalg.norm(directions, axis=1, keepdims=True))
    collection = scene_piece.write_piece(Workpiece("sitter", scan=cloud), bpy.context.scene)
    thing = scene_piece.object_with(collection, "scan")
    shown = thing.evaluated_get(bpy.context.evaluated_depsgraph_get()).evaluated_geometry()
    return len(shown.pointcloud.attributes["position"].data), collection


def test_the_host_shows_all_of_a_small_cloud():
    assert drawn(250)[0] == 250


def test_the_host_shows_a_share_of_a_large_cloud_and_all_of_it_is_there(scene):
    """As many as wanted within four deviations of a binomial draw: 300 ± 4 sqrt(300)."""
    shown, collection = drawn(20_000)
    assert shown == pytest.approx(300, abs=70)
    assert len(scene_piece.read_piece(collection, scene).scan) == 20_000


def test_the_first_dots_are_a_thinned_cloud():
    rows = clouds.picked(10_000, 4_000)
    assert len(set(rows.tolist())) == 4_000
    assert rows[:500].mean() == pytest.approx(5_000, abs=4 * 10_000 / np.sqrt(12 * 500))  # four deviations
    np.testing.assert_array_equal(clouds.picked(10_000, 500), rows[:500])
    assert len(clouds.picked(300, 4_000)) == 300


def test_fewer_dots_are_drawn_while_a_step_is_at_work(scene):
    progress = bpy.context.window_manager.canthus
    assert clouds.drawn_now(bpy.context, 1000) == 1000
    progress.running = True
    try:
        assert clouds.drawn_now(bpy.context, 1000) == 100
    finally:
        progress.running = False


def test_dots_have_the_colours_of_their_points_else_clay_lit_along_normals(scene):
    """As they were written."""
    colours = np.array([(255, 0, 0), (0, 255, 0), (0, 0, 255)], np.uint8)
    cloud = Cloud(np.eye(3), colours=colours)
    collection = scene_piece.write_piece(Workpiece("sitter", scan=cloud), scene)
    thing = scene_piece.object_with(collection, "scan")
    assert clouds.colours_of(thing, np.array([2, 0]))[:, :3] == pytest.approx(np.array([(0, 0, 1), (1, 0, 0)]))
    bare = scene_piece.write_piece(Workpiece("bare", scan=Cloud(np.eye(3), normals=np.eye(3))), scene)
    found = clouds.colours_of(scene_piece.object_with(bare, "scan"), np.arange(3))[:, :3]
    assert (found < clouds.CLAY + 1e-6).all()
    assert found[2, 0] > found[1, 0] > found[0, 0]  # most light from above
