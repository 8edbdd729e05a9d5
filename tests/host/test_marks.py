"""Landmarks drawn over the view: which, where, and whether they want looking at."""

import bpy
import numpy as np
import pytest
from canthus.host.drawn import drawing, marks
from canthus.host.scene import scene_piece


def test_each_landmark_that_can_be_seen_is_drawn_and_weak_ones_are_told(piece, scene):
    collection = scene_piece.write_piece(piece.but(parts={}), scene)  # made eyes hide them
    bpy.context.view_layer.update()
    found = {name: (tuple(place), weak) for name, place, weak in marks.marks_shown(collection)}
    assert found["sellion"] == (pytest.approx((0.1, -95.2, 15.3), abs=1e-4), False)
    assert found["pronasale"][1] is True  # confidence 0.3
    scene_piece.object_with(collection, "landmark/sellion").hide_viewport = True
    bpy.context.view_layer.update()
    assert [name for name, *_ in marks.marks_shown(collection)] == ["pronasale"]


def test_a_disc_has_the_area_of_a_regular_polygon():
    """Of twelve corners: 12 / 2 sin(30°) r² = 3 r²."""
    corners = drawing.discs(np.array([[5.0, -3.0]]), 2.0).reshape(-1, 3, 2)
    one, other = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    assert 0.5 * (one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0]).sum() == pytest.approx(12.0)
    assert corners.mean(axis=(0, 1)) == pytest.approx((5, -3))
