"""The studio: the pictures of the report and the saved scene, and an open file left as it was."""

import struct
from dataclasses import replace

import bpy
import numpy as np
import pytest
from canthus.geometry.errors import BadFile, NotReady
from canthus.geometry.progress import Cancelled, Progress
from canthus.geometry.solids.primitives import box
from canthus.host.pictures import studio
from canthus.host.pictures.cameras import DISTANCE, View
from canthus.host.pictures.drawn_apart import shifts_of
from canthus.host.pictures.finding_views import _along_wall, _named
from canthus.host.pictures.keyed import turned_over
from canthus.host.scene import scene_piece
from canthus.steps.workpiece import Check, Done, Workpiece
from host.scene_state import state
from small_pieces import bust, egg


@pytest.fixture(autouse=True)
def small(monkeypatch):
    monkeypatch.setattr(studio, "PIXELS", 64)
    monkeypatch.setattr(studio, "PIXELS_NEAR", 48)
    monkeypatch.setattr(studio, "PIXELS_FINDING", 32)
    monkeypatch.setattr(studio, "SAMPLES", 1)


@pytest.fixture(scope="module")
def whole():
    """The bust at print size with its two eyes."""
    piece = bust()
    factor = np.diag([1 / 6, 1 / 6, 1 / 6, 1.0])
    return piece.but(parts={name: part.moved(factor) for name, part in egg(3).parts.items()})


def owned():
    return {
        name: len(getattr(bpy.data, name)) for name in ("scenes", "objects", "meshes", "materials", "worlds", "lights")
    }


def size_of(png):
    """Width and height from the header chunk (PNG specification, ISO/IEC 15948, 11.2.2)."""
    assert png[:8] == b"\x89PNG\r\n\x1a\n"
    return struct.unpack(">II", png[16:24])


def test_the_pictures_are_all_there_and_the_open_file_is_as_it_was(whole, capfd):
    bpy.ops.mesh.primitive_cube_add()
    before, count, current = state(), owned(), bpy.context.scene.name
    pictures = studio.BlenderStudio().pictures(whole)
    names = [picture.name for picture in pictures]
    assert names[:4] == ["front", "three-quarter", "side", "back"]
    assert set(names[4:]) == {
        *(f"eye-{side}-{view}" for side in ("left", "right") for view in ("front", "three-quarter")),
        *("section-left", "section-eye-left", "parts"),
    }
    assert size_of(pictures[0].png) == (64, 64)
    assert size_of(pictures[4].png) == (48, 48)
    assert all(picture.title for picture in pictures)
    assert (state(), owned(), bpy.context.scene.name) == (before, count, current)
    said = [
        line for line in capfd.readouterr().out.splitlines() if "WARNING" not in line
    ]  # once, on looking for a card
    assert said == [], "the renderer's chatter got through to standard output"


def test_findings_are_photographed_grave_ones_first(whole):
    """One that shows, one within, one on a part that cannot be cut, one without a place, one that is well."""
    open_eye = whole.parts["eye-left"].kept(np.arange(1, 1280))
    checks = (
        Check("head: islands", 1, 0, "", False, tuple(whole.head.vertices[0]), grave=False),
        Check("eye-left: open edges", 1, 0, "", False, tuple(open_eye.vertices.mean(axis=0))),
        Check("head: closed cavities", 1, 0, "", False, (0.0, 0.0, 0.0)),
        Check("head: inside out", 1, 0, "", False),
        Check("head: least wall", 1, 0, "", True, (0.0, 0.0, 0.0)),
    )
    piece = whole.but(checks=checks, parts={**whole.parts, "eye-left": open_eye})
    count = owned()
    taken = [each for each in studio.BlenderStudio().pictures(piece) if each.name.startswith("finding-")]
    assert [each.name for each in taken] == ["finding-1", "finding-2", "finding-0"]
    assert taken[0].title == "eye-left: open edges, hidden inside"
    assert taken[1].title == "head: closed cavities, cut open"
    assert taken[2].title == "head: islands"
    assert size_of(taken[1].png) == (32, 32)
    assert owned() == count


def test_a_finding_shows_the_parts_it_is_about():
    def named(what):
        return _named(Check(what, 1, 0, "", False, (0.0, 0.0, 0.0)))

    assert named("eye-left: gap to the socket") == ["head", "eye-left"]
    assert named("head and skull-cap: overlap") == ["head", "skull-cap"]
    assert named("head: lids of the left eye") == ["head", "eye-left"]
    assert named("vents: narrowest") == named("eyes found") == ["head"]


def test_a_keyed_part_is_shown_turned_over_beside_what_it_keys_to(whole):
    """Half round: what looked along the way off looks against it, and what looked at the camera still does."""
    way, towards = np.array([0.0, 0.6, 0.8]), np.array([0.3, 0.9, 0.1])
    turned = turned_over(whole.head, way, towards)
    np.testing.assert_allclose(turned.vertices @ way, -(whole.head.vertices @ way), atol=1e-9)
    across = np.cross(way, towards)
    np.testing.assert_allclose(turned.vertices @ across, -(whole.head.vertices @ across), atol=1e-9)
    seen = towards - (towards @ way) * way
    np.testing.assert_allclose(turned.vertices @ seen, whole.head.vertices @ seen, atol=1e-9)
    figures = {"part": "eye-left", "keyed_by": "rim", "cut_up": [0.0, 0.0, 1.0], "cut_at_mm": [0.0, 0.0, 5.0]}
    taken = studio.BlenderStudio().pictures(whole.but(history=(Done("key", {}, figures),)))
    (key,) = (each for each in taken if each.name.startswith("key-"))
    assert key.title.startswith("How eye-left keys to head: rim in rim")


def test_a_cup_is_shown_cut_and_a_peg_is_not(whole):
    figures = {"kind": "cup", "cut_at_mm": [0.0, 0.0, -15.0], "cut_up": [0.0, 0.0, 1.0], "neck_width_mm": 10.0}
    for kind, shown in (("cup", True), ("peg", False)):
        piece = whole.but(eyes=(), parts={}, history=(Done("neck", {}, {**figures, "kind": kind}),))
        names = [each.name for each in studio.BlenderStudio().pictures(piece)]
        assert ("joint" in names) == shown


def test_a_thin_wall_is_cut_square_through_it():
    """A plate that stands upright, its faces towards the sitter's left and right: cut across, near its upper edge."""
    plate = box((-0.2, -5.0, -5.0), (0.2, 5.0, 5.0))
    way = _along_wall(plate, np.array([0.05, 0.0, 4.0]))
    np.testing.assert_allclose(np.abs(way), [0, 1, 0], atol=1e-9)  # along y: the cut shows thickness and the edge above
    assert way[1] < 0  # from the front


def test_what_is_drawn_over_the_picture_is_seen_where_it_was():
    view = View("", "", 24.0, 15.0, (1.0, 2.0, 3.0), 50.0)
    points = np.array([[1.0, 2.0, 3.0], [4.0, 9.0, -3.0]])
    camera = np.array(view.target) + DISTANCE * view.width * np.array(view.towards)
    rays, nearer = points - camera, view.before_all(points) - camera
    np.testing.assert_allclose(nearer, 0.5 * rays, atol=1e-9)


def test_parts_are_drawn_out_along_the_ways_they_go_in(whole):
    up = np.array([0.0, -0.6, 0.8])
    eyes = tuple(replace(eye, bore_length=3.0) for eye in whole.eyes)
    key = Done("key", {}, {"part": "skull-cap", "cut_up": up.tolist()})
    parts = {**whole.parts, "skull-cap": whole.parts["eye-left"], "plug-1": whole.parts["eye-left"]}
    vent = Done("vent", {}, {"plugs": [{"plug": "plug-1", "part": "skull-cap", "way": [0.0, 1.0, 0.0]}]})
    shifts = shifts_of(whole.but(eyes=eyes, parts=parts, history=(key, vent)))
    out = shifts["plug-1"] - shifts["skull-cap"]  # it goes along with the part it closes, and out of that
    assert out[1] > 0
    assert out[0] == out[2] == 0
    assert not shifts["head"].any()
    for name in ("skull-cap", "eye-left", "eye-right"):
        assert shifts[name] @ up == pytest.approx(np.linalg.norm(shifts[name]))
    assert np.linalg.norm(shifts["skull-cap"]) > 1.3 * np.linalg.norm(shifts["eye-left"])
    wig = Done("key", {}, {"part": "hair", "cut_up": [0.0, 0.0, 1.0]})
    worn = shifts_of(whole.but(eyes=eyes, parts={**parts, "hair": whole.parts["eye-left"]}, history=(key, wig)))
    lens = whole.parts["eye-left"].vertices[:, 2]
    assert lens.min() + worn["hair"][2] > lens.max() + worn["skull-cap"][2]  # clear of the cap it lies on
    np.testing.assert_allclose(worn["eye-left"], shifts["eye-left"])
    from_the_front = shifts_of(whole.but(eyes=tuple(replace(eye, bore_length=0.0) for eye in eyes)))
    assert from_the_front["eye-left"][1] < 0


def test_stopped_it_leaves_the_open_file_as_it_was(whole):
    count = owned()

    def stop(fraction, _what):
        if fraction > 0.1:
            raise Cancelled

    with pytest.raises(Cancelled):
        studio.BlenderStudio().pictures(whole, Progress(stop))
    assert owned() == count


def test_without_a_part_there_is_nothing_to_take():
    assert studio.BlenderStudio().pictures(Workpiece()) == []


def test_the_scene_opens_in_millimetres_looking_at_the_head(whole, tmp_path):
    count = owned()
    studio.BlenderStudio().save_blend(whole, tmp_path / "head.blend")
    assert owned() == count
    assert [each.name for each in tmp_path.iterdir()] == ["head.blend"]
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "head.blend"))
    scene = bpy.context.scene
    assert scene.unit_settings.scale_length == pytest.approx(0.001)
    assert scene.camera is not None
    collection = scene_piece.pieces_in(scene)[0]
    assert collection.name == "Canthus egg"
    back = scene_piece.read_piece(collection, scene)
    np.testing.assert_allclose(back.head.vertices, whole.head.vertices, rtol=0, atol=1e-11)
    assert set(back.parts) == {"eye-left", "eye-right"}
    middle = (whole.head.vertices.min(axis=0) + whole.head.vertices.max(axis=0)) / 2
    views = [area.spaces[0] for area in bpy.data.screens["Layout"].areas if area.type == "VIEW_3D"]
    assert np.linalg.norm(np.array(views[0].region_3d.view_location) - middle) < 5
    assert views[0].clip_end > 500


def test_nothing_to_save_is_told_and_nothing_is_written(tmp_path):
    with pytest.raises(NotReady, match="nothing to save"):
        studio.BlenderStudio().save_blend(Workpiece(), tmp_path / "head.blend")
    assert not list(tmp_path.iterdir())


def test_where_it_cannot_be_written_is_told(whole, tmp_path):
    with pytest.raises(BadFile, match="cannot be written"):
        studio.BlenderStudio().save_blend(whole, tmp_path / "nowhere" / "head.blend")


def test_a_build_without_the_denoiser_takes_more_samples():
    """Distributions build the host without it; the assignment is then refused with a TypeError, as seen on one."""

    class Cycles:
        samples, use_denoising = studio.SAMPLES, False

        @property
        def denoiser(self):
            return ""

        @denoiser.setter
        def denoiser(self, name):
            raise TypeError(f'enum "{name}" not found in ()')

    cycles = Cycles()
    studio._choose_cleaning(cycles)
    assert not cycles.use_denoising
    assert cycles.samples == studio.SAMPLES_UNCLEANED
    studio._choose_cleaning(bpy.context.scene.cycles)
    assert bpy.context.scene.cycles.use_denoising
    assert bpy.context.scene.cycles.denoiser == "OPENIMAGEDENOISE"
