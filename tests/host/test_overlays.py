"""What is drawn over the view: which places, and how many of them."""

import bpy
import numpy as np
import pytest
from canthus.geometry.cloud import Cloud
from canthus.geometry.mesh import Mesh
from canthus.geometry.printing.cavities import hollowed
from canthus.geometry.solids.primitives import icosphere
from canthus.host.drawn import drawing, eyeballs, overlays, sections
from canthus.host.scene import scene_piece
from canthus.steps.workpiece import Done
from mathutils.bvhtree import BVHTree
from small_pieces import egg


def ball(radius, **columns):
    sphere = icosphere(3)
    return Mesh(radius * sphere.vertices, sphere.triangles, None, columns)


def put(piece, scene):
    collection = scene_piece.write_piece(piece, scene)
    bpy.context.view_layer.update()
    return collection


def test_marked_points_are_shown_where_they_lie(scene):
    points = np.arange(30, dtype=np.float64).reshape(-1, 3)
    strays = np.zeros(10, np.uint8)
    strays[[2, 7]] = 1
    piece = egg(1).but(scan=Cloud(points, columns={"stray": strays}), head=None, skin=None, parts={}, eyes=())
    (found,) = overlays.marked_points(put(piece, scene))
    assert found.text == "2 stray points"
    assert found.places == pytest.approx(points[[2, 7]])


def test_thin_walls_are_the_faces_whose_corners_are_all_thin(scene):
    head = ball(20.0)
    head = ball(20.0, wall_mm=np.where(head.vertices[:, 2] > 0, 0.2, 2.0).astype(np.float32))
    collection = put(egg(1).but(head=head, parts={}, eyes=()), scene)
    (found,) = overlays.thin_walls(collection, 0.4)
    assert len(found.places) % 3 == 0
    assert found.places[:, 2].min() > 0
    assert overlays.thin_walls(collection, 0.1)[0].places.shape == (0, 3)


def test_walls_that_were_not_measured_are_told(scene):
    put(egg(1), scene)
    bpy.context.window_manager.canthus_overlays.thin = True
    try:
        assert "tick Walls in Check" in overlays.lacking(bpy.context)
    finally:
        bpy.context.window_manager.canthus_overlays.thin = False


def test_a_closed_hollow_is_a_cavity_with_its_own_faces(scene):
    inner = ball(10.0)
    collection = put(egg(1).but(head=hollowed(ball(20.0), inner), parts={}, eyes=()), scene)
    (found,) = overlays.cavities(collection)
    assert found.text == "1 closed cavity"
    assert np.linalg.norm(found.places, axis=1) == pytest.approx(np.full(len(found.places), 10.0), abs=0.01)


@pytest.mark.parametrize("axis", "xyz")
def test_the_section_of_a_sphere_through_its_middle_is_its_equator(scene, axis):
    """Length 2 pi r, short of it by the facets' sagitta: (side / r)² / 24 at most, here under 1 %."""
    collection = put(egg(1).but(head=ball(20.0), parts={}, eyes=()), scene)
    (found,) = sections.section(collection, axis, 0.5)
    ends = found.places.reshape(-1, 2, 3)
    assert np.abs(ends[..., "xyz".index(axis)]).max() < 1e-9
    assert np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1).sum() == pytest.approx(2 * np.pi * 20, rel=0.01)


def test_what_is_kept_is_worked_out_anew_for_a_new_shape(scene):
    piece = egg(1).but(head=ball(20.0), parts={}, eyes=())
    collection = put(piece, scene)
    before = sections.section(collection, "z", 0.5)[0].places
    scene_piece.write_piece(piece.but(head=ball(10.0)), scene, collection, piece)
    bpy.context.view_layer.update()
    after = sections.section(collection, "z", 0.5)[0].places
    assert np.abs(before).max() == pytest.approx(20.0, rel=0.01)
    assert np.abs(after).max() == pytest.approx(10.0, rel=0.01)


def test_cover_is_depth_under_the_skin_and_negative_outside():
    sphere = ball(20.0)
    tree = BVHTree.FromPolygons(sphere.vertices.tolist(), sphere.triangles.tolist())
    places = np.array([(0, 0, 15.0), (0, 0, 24.0), (0, 0, 0.0)])
    cover = eyeballs.cover_over(tree, places, 8.0)
    assert cover == pytest.approx([5.0, -4.0, 8.0], abs=0.1)
    shut = np.zeros(3, dtype=bool)
    assert eyeballs.colours_for(cover, 6.0, shut).tolist() == [
        list(eyeballs.THIN),
        list(eyeballs.OUTSIDE),
        list(eyeballs.COVERED),
    ]
    assert eyeballs.colours_for(cover, 6.0, ~shut).tolist() == 3 * [list(eyeballs.OUTSIDE)]


def test_what_is_seen_through_a_round_margin_lies_within_its_cone():
    """A circle seen under 30° from the centre; the gaze is -y."""
    turn = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    margin = np.stack([np.sin(np.radians(30)) * np.cos(turn), np.full(90, -0.8660), 0.5 * np.sin(turn)], axis=1)
    frame = np.array([(1, 0, 0), (0, 0, 1), (0, -1, 0)], dtype=float)
    ball = icosphere(3).vertices
    angle = np.degrees(np.arccos(np.clip(-ball[:, 1], -1, 1)))
    found = eyeballs.between_lids(ball, margin, frame)
    clear = np.abs(angle - 30) > 1  # the circle is drawn with 90 corners
    assert found[clear].tolist() == (angle < 30)[clear].tolist()
    assert not eyeballs.between_lids(ball, np.zeros((0, 3)), frame).any()


def test_nothing_is_drawn_without_a_window():
    drawn = drawing.Drawn(over=lambda: None)
    drawn.register()
    assert bpy.app.background
    assert not drawn._handles
    drawn.unregister()


@pytest.mark.parametrize("axis", "xyz")
def test_the_wall_to_come_in_a_ball_is_a_smaller_circle(scene, axis):
    """2 mm under a ball of 20 lies one of 18: a circle of that radius in a plane through the middle."""
    collection = put(egg(1).but(head=ball(20.0), parts={}, eyes=()), scene)
    (found,) = sections.wall_to_come(collection, axis, 0.5, 2.0)
    assert "wall of 2 mm" in found.text
    assert np.abs(found.places[:, "xyz".index(axis)]).max() < 1e-9
    assert np.linalg.norm(found.places, axis=1) == pytest.approx(np.full(len(found.places), 18.0), abs=0.2)


def test_the_wall_to_come_is_drawn_until_the_head_is_hollow(scene):
    piece = egg(1).but(head=ball(20.0), parts={}, eyes=())
    wanted = bpy.context.window_manager.canthus_overlays
    wanted.wall = True
    try:
        collection = put(piece, scene)
        assert [kind for kind, _ in overlays.shown(bpy.context)] == ["lines", "lines"]
        scene_piece.write_piece(piece.but(history=(Done("hollow", {}),)), scene, collection, piece)
        assert [kind for kind, _ in overlays.shown(bpy.context)] == ["lines"]
    finally:
        wanted.wall = False
