"""The demo scenes open ready in either host: the head is read, what is done is told, the next step can be pressed."""

from pathlib import Path

import bpy
import pytest
from canthus.geometry.cloud import Cloud
from canthus.host.scene import opening, scene_piece, states

FOLDER = Path(__file__).resolve().parents[2] / "demo_blend_scenes"
SCENES = {
    "1-raw-capture": ("assess", {"scan"}),
    "2-cleaned": ("close", {"scan"}),
    "3-with-eyes": ("neck", {"head", "eye-left", "eye-right"}),
    "4-ready-to-print": ("export", {"head", "eye-left", "eye-right", "skull-cap"}),
}
"""Scene to the step to press next and the shapes in it."""
MOST_BYTES = 4_000_000
"""A scene is to be small: four of them go with every copy of the project. Ours, no source."""


def test_every_scene_is_tried_and_listed():
    assert {path.stem for path in FOLDER.glob("*.blend")} == SCENES.keys()
    page = (FOLDER / "README.md").read_text(encoding="utf-8")
    assert all(f"`{name}.blend`" in page for name in SCENES)
    assert all(path.stat().st_size < MOST_BYTES for path in FOLDER.glob("*.blend"))


@pytest.mark.parametrize("name", SCENES)
def test_a_scene_opens_ready(name):
    following, shapes = SCENES[name]
    bpy.ops.wm.open_mainfile(filepath=str(FOLDER / f"{name}.blend"))
    scene = bpy.context.scene
    assert scene.unit_settings.scale_length == pytest.approx(0.001)
    assert opening.READY not in scene  # it asked for our tab, once
    (collection,) = scene_piece.pieces_in(scene)
    piece = scene_piece.read_piece(collection, scene)
    there = {*piece.all_parts(), *(["scan"] if piece.scan is not None else [])}
    assert shapes <= there
    assert isinstance(piece.scan, Cloud) or piece.scan is None
    told = states.states_of(collection, scene)
    assert states.STALE not in told.values()
    assert states.next_step(told) == (following, False)
    assert getattr(bpy.ops.canthus, following).poll()
