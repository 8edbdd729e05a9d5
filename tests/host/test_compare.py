"""Two shapes of the scene compared by the button: figures, colors on the shape, files."""

import bpy
import numpy as np
import pytest
from canthus.files.reading import read
from canthus.geometry.mesh import Mesh
from canthus.geometry.solids.primitives import icosphere
from canthus.host.scene import exchange, scene_piece
from small_pieces import sitter


def ball(name, radius, place=(0, 0, 0)):
    thing = bpy.data.objects.new(name, exchange.new_data(name, icosphere(4, radius), 1.0))
    thing.location = place
    bpy.context.scene.collection.objects.link(thing)
    return thing


def chosen(active, *others):
    bpy.ops.object.select_all(action="DESELECT")
    for each in (active, *others):
        each.select_set(True)
    bpy.context.view_layer.objects.active = active
    bpy.context.view_layer.update()


def deviations(thing):
    values = np.empty(len(thing.data.vertices), np.float32)
    thing.data.attributes["deviation_mm"].data.foreach_get("value", values)
    return values


def test_a_ball_half_a_millimetre_larger_lies_outside_by_that(scene, tmp_path):
    small, large = ball("small", 10.0), ball("large", 10.5)
    chosen(large, small)
    assert bpy.ops.canthus.compare(save=str(tmp_path / "heat.ply")) == {"FINISHED"}
    assert deviations(large) == pytest.approx(0.5, abs=0.03)  # the facets of the smaller lie inside its ball
    assert len(read(tmp_path / "heat.ply").vertices) == len(large.data.vertices)
    assert (tmp_path / "heat.png").read_bytes()[:4] == b"\x89PNG"


def test_what_was_moved_is_fitted_to_be_measured_and_stays_where_it_is(scene):
    one, other = (ball(name, 1.0) for name in ("one", "other"))
    one.scale = other.scale = (30, 40, 50)
    for each in (one, other):
        each.data.transform(each.matrix_basis)
        each.scale = (1, 1, 1)
    one.location = (3, 0, 0)
    chosen(one, other)
    assert bpy.ops.canthus.compare() == {"FINISHED"}
    assert np.abs(deviations(one)).max() == pytest.approx(3.0, abs=0.1)
    assert bpy.ops.canthus.compare(fit="all") == {"FINISHED"}
    assert np.abs(deviations(one)).max() < 0.01
    assert tuple(one.location) == (3, 0, 0)


def test_a_head_alone_is_compared_with_what_it_was(scene):
    piece = sitter("closed")
    moved = piece.head.vertices - np.array([0, 0.25, 0])
    head = type(piece.head)(moved, piece.head.triangles)
    collection = scene_piece.write_piece(piece.but(head=head, skin=piece.head), scene)
    thing = scene_piece.object_with(collection, "head")
    chosen(thing)
    assert bpy.ops.canthus.compare(fit="nose") == {"FINISHED"}
    assert np.abs(deviations(thing)).max() < 1e-3
    assert thing["canthus_map"]["column"] == "deviation_mm"


def test_one_shape_from_elsewhere_is_not_enough(scene):
    chosen(ball("alone", 10.0))
    with pytest.raises(RuntimeError, match="Select two shapes, the one to be colored last"):
        bpy.ops.canthus.compare()


def test_colours_are_full_where_the_skin_ends_and_not_where_an_inner_wall_lies(scene):
    """A shell: half its vertices lie 4 mm inside the ball it is judged by, the rest 0.2 mm outside of it. By all of
    them alike the colours would be full at 4 mm, and the skin would show none. Worked by hand.
    """
    ball, shell = ball_and_shell()
    chosen(shell, ball)
    assert bpy.ops.canthus.compare() == {"FINISHED"}
    assert shell["canthus_map"]["high"] == pytest.approx(0.2, abs=0.03)
    assert np.abs(deviations(shell)).max() == pytest.approx(4.0, abs=0.1)
    assert bpy.ops.canthus.compare(reach=1.5) == {"FINISHED"}
    assert (shell["canthus_map"]["low"], shell["canthus_map"]["high"]) == (-1.5, 1.5)


def ball_and_shell():
    outer, inner = icosphere(4, 10.2), icosphere(4, 6.0)
    shell = joined_meshes(outer, Mesh(inner.vertices, inner.triangles[:, ::-1]))
    thing = bpy.data.objects.new("shell", exchange.new_data("shell", shell, 1.0))
    bpy.context.scene.collection.objects.link(thing)
    return ball("ball", 10.0), thing


def joined_meshes(one, other):
    triangles = np.concatenate([one.triangles, other.triangles + len(one.vertices)])
    return Mesh(np.concatenate([one.vertices, other.vertices]), triangles)
