"""What is drawn of a cloud: all of a small one, as many points of a large one as the view can turn."""

import bpy
import numpy as np
import pytest
from canthus.geometry.cloud import Cloud
from canthus.host import looks, scene_piece
from canthus.steps.workpiece import Workpiece


def drawn(count):
    """How many points the view is given of a cloud of so many, and the object."""
    directions = np.random.default_rng(4).normal(size=(count, 3))
    cloud = Cloud(100 * directions / np.linalg.norm(directions, axis=1, keepdims=True))
    collection = scene_piece.write_piece(Workpiece("sitter", scan=cloud), bpy.context.scene)
    thing = scene_piece.object_with(collection, "scan")
    shown = thing.evaluated_get(bpy.context.evaluated_depsgraph_get()).evaluated_geometry()
    return len(shown.pointcloud.attributes["position"].data), collection


def test_all_of_a_small_cloud_is_drawn():
    assert drawn(5000)[0] == 5000


def test_a_share_of_a_large_cloud_is_drawn_and_all_of_it_is_there(monkeypatch, scene):
    """As many as wanted within four deviations of a binomial draw: 2000 ± 4 sqrt(2000 · 0.9)."""
    monkeypatch.setattr(looks, "SHOWN_POINTS", 2000)
    shown, collection = drawn(20_000)
    assert shown == pytest.approx(2000, abs=170)
    assert len(scene_piece.read_piece(collection, scene).scan) == 20_000
