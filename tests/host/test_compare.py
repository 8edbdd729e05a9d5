"""Two shapes of the scene compared by the button: figures, colors on the shape, files."""

import bpy
import numpy as np
import pytest
from canthus.files.reading import read
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
    assert bpy.ops.canthus.compare(heat=str(tmp_path / "heat.ply")) == {"FINISHED"}
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
