"""Photographs in the host: marks on images, files, cameras solved and looked through, place-eyes by them."""

import dataclasses
import json
import math
from pathlib import Path

import bpy
import numpy as np
import pytest
from bpy_extras.object_utils import world_to_camera_view
from canthus.anatomy.eyes.gaze import pupil_ahead
from canthus.files.photo_marks import read_photo_marks
from canthus.geometry.photographs.cameras import Picture
from canthus.host.hands import photo_overlay
from canthus.host.scene import photo_cameras, photo_images, scene_piece
from canthus.job import recipe
from canthus.steps.workpiece import Landmark
from host.scene_state import state
from mathutils import Vector
from photographs import CENTRES, FACE, camera
from small_pieces import egg

SIZE = (600, 800)
TURNS = (0, 30, -30)


def places():
    """Landmarks and pupils of the face, mm at life size."""
    pupils = {f"{side}-pupil": np.array(centre) - [0.0, pupil_ahead(12.1), 0.0] for side, centre in CENTRES.items()}
    return {**{name: np.array(place, dtype=float) for name, place in FACE.items()}, **pupils}


def taken(turn):
    return camera(turn, 3, 900, np.array([0.0, -40.0, -20.0]), 2400.0, SIZE, roll=5)


@pytest.fixture
def collection(scene):
    """The egg at 1/6 with a face's landmarks, in a scene of millimetres."""
    marks = {name: Landmark(tuple(np.array(place) / 6)) for name, place in FACE.items()}
    piece = egg(3).moved(np.diag([1 / 6, 1 / 6, 1 / 6, 1.0]))
    return scene_piece.write_piece(piece.but(scale=1 / 6, landmarks=marks, eyes=(), history=()), scene)


@pytest.fixture
def images(collection):
    """Three photographs of the face, marked exactly."""
    found = []
    for turn in TURNS:
        image = bpy.data.images.new(f"photograph {turn}", *SIZE)
        for name, place in places().items():
            at = taken(turn).project(place[None])[0]
            bpy.ops.canthus.set_photo_mark(image=image.name, mark=name, place=at)
        found.append(image)
    return found


def test_a_mark_is_put_moved_and_removed(collection):
    image = bpy.data.images.new("front", *SIZE)
    bpy.ops.canthus.set_photo_mark(image="front", mark="pronasale", place=(300.5, 410))
    bpy.ops.canthus.set_photo_mark(image="front", mark="left-pupil", place=(350, 300))
    bpy.ops.canthus.set_photo_mark(image="front", mark="pronasale", place=(301, 411))
    marks = photo_images.marks_of(image, None)
    assert marks.marks == {"pronasale": (301.0, 411.0), "left-pupil": (350.0, 300.0)}
    assert marks.size == SIZE
    assert image.canthus_photo.next_mark == "right-pupil"
    bpy.ops.canthus.remove_photo_mark(image="front", mark="pronasale")
    assert list(photo_images.marks_of(image, None).marks) == ["left-pupil"]
    bpy.ops.canthus.clear_photo_marks(image="front")
    assert photo_images.marked_images() == []


@pytest.mark.parametrize(
    ("operator", "settings", "line"),
    [
        ("set_photo_mark", {"mark": "pronasale", "place": (1.0, 1.0)}, "no photograph here"),
        ("set_photo_mark", {"image": "front", "mark": "pronasale", "place": (601.0, 1.0)}, "outside the 600 x 800"),
        ("remove_photo_mark", {"image": "front", "mark": "stomion"}, "Stomion is not marked"),
        ("save_photo_marks", {"filepath": "/nowhere/marks.json"}, "No image carries marks"),
        ("load_photo_marks", {"filepath": "/nowhere/marks.json"}, "cannot be read"),
        ("solve_cameras", {}, "No photograph is marked yet"),
        ("look_through_photo", {"image": "front"}, "no camera yet"),
    ],
)
def test_what_cannot_be_done_is_said_and_changes_nothing(collection, operator, settings, line):
    bpy.data.images.new("front", *SIZE)
    before = state()
    with pytest.raises(RuntimeError, match=line):
        getattr(bpy.ops.canthus, operator)(**settings)
    assert state() == before
    assert photo_images.marked_images() == []


def test_marks_are_one_undo_step(collection):
    bpy.data.images.new("front", *SIZE).use_fake_user = True
    bpy.ops.ed.undo_push(message="before")
    bpy.ops.canthus.set_photo_mark("EXEC_DEFAULT", True, image="front", mark="stomion", place=(300, 500))
    assert len(bpy.data.images["front"].canthus_photo.marks) == 1
    bpy.ops.ed.undo()
    assert len(bpy.data.images["front"].canthus_photo.marks) == 0
    bpy.ops.ed.redo()
    assert len(bpy.data.images["front"].canthus_photo.marks) == 1


@pytest.mark.parametrize("ending", ["json", "csv"])
def test_marks_go_to_a_file_and_come_back_with_their_photographs(tmp_path, ending):
    for number, name in enumerate(("front.png", "side.png")):
        image = bpy.data.images.new(name, 40 + number, 30)
        image.filepath_raw, image.file_format = str(tmp_path / name), "PNG"
        image.save()
        bpy.ops.canthus.set_photo_mark(image=name, mark="sellion", place=(10.25, 5 + number))
    kept = bpy.data.images["side.png"].canthus_photo
    kept.gaze, kept.across, kept.up, kept.lens, kept.focal = "turned", math.radians(12), math.radians(-4), "long", 123.5
    kept.whole, kept.cut_at = (400, 300), (200.5, 10)
    path = tmp_path / f"marks.{ending}"
    bpy.ops.canthus.save_photo_marks(filepath=str(path))
    front, side = read_photo_marks(path, photo_images.MARK_NAMES)
    assert (front.file, front.size, front.marks) == ("front.png", (40, 30), {"sellion": (10.25, 5.0)})
    assert (side.gaze, side.lens, side.focal) == ((12.0, -4.0), "long", 123.5)
    assert (side.whole, side.cut_at, front.whole) == ((400, 300), (200.5, 10.0), None)
    bpy.ops.wm.read_homefile(use_empty=True, use_factory_startup=True)
    bpy.ops.canthus.load_photo_marks(filepath=str(path))
    again = [photo_images.marks_of(image, tmp_path) for image in photo_images.marked_images()]
    assert again == [front, side]
    (tmp_path / "side.png").unlink()
    bpy.ops.wm.read_homefile(use_empty=True, use_factory_startup=True)
    with pytest.raises(RuntimeError, match=r"side\.png: this photograph is not there"):
        bpy.ops.canthus.load_photo_marks(filepath=str(path))


def test_a_piece_of_a_picture_is_seen_by_a_shifted_lens(scene):
    """The host's own projection is the reference."""
    whole = taken(10)
    piece = dataclasses.replace(whole, picture=Picture((250, 300), SIZE, (320, 40)))
    thing = bpy.data.objects.new("piece", bpy.data.cameras.new("piece"))
    scene.collection.objects.link(thing)
    photo_cameras.aim_as(thing, piece, 1.0)
    scene.render.resolution_x, scene.render.resolution_y = piece.size
    bpy.context.view_layer.update()
    for name, place in FACE.items():
        across, up, _ = world_to_camera_view(scene, thing, Vector(place))
        seen = whole.project(np.array(place, dtype=float)[None])[0] - [320, 40]
        assert (across * 250, (1 - up) * 300) == pytest.approx(seen, abs=0.01), name


def test_a_photograph_of_another_size_is_refused(tmp_path):
    image = bpy.data.images.new("front.png", 40, 30)
    image.filepath_raw, image.file_format = str(tmp_path / "front.png"), "PNG"
    image.save()
    path = tmp_path / "marks.json"
    entry = {"file": "front.png", "width": 400, "height": 300, "marks": {"sellion": [10, 10]}}
    path.write_text(json.dumps({"photographs": [entry]}))
    with pytest.raises(RuntimeError, match="40 x 30 pixels, its marks were made at 400 x 300"):
        bpy.ops.canthus.load_photo_marks(filepath=str(path))


def test_solved_cameras_see_the_landmarks_where_they_were_marked(collection, images, scene):
    """The host's own projection is the reference, through the camera and the render size it is left with."""
    bpy.ops.canthus.solve_cameras()
    for image, turn in zip(images, TURNS, strict=True):
        bpy.ops.canthus.look_through_photo(image=image.name)
        thing = scene.camera
        assert scene_piece.role_of(thing) == photo_cameras.camera_name(image)
        assert (scene.render.resolution_x, scene.render.resolution_y) == SIZE
        bpy.context.view_layer.update()
        for name, mark in image.canthus_photo.marks.items():
            assert mark.is_seen
            assert math.dist(mark.place, mark.seen) < 0.5
            if name in FACE:
                across, up, deep = world_to_camera_view(scene, thing, Vector(np.array(FACE[name]) / 6))
                assert (across * SIZE[0], (1 - up) * SIZE[1]) == pytest.approx(tuple(mark.place), abs=0.6)
                assert deep > 0
        true = taken(turn)
        assert np.array(thing.location) == pytest.approx(true.place / 6, abs=15)
        behind = thing.data.background_images[0]
        assert (behind.image, behind.display_depth, thing.data.show_background_images) == (image, "BACK", True)
        bpy.ops.canthus.look_through_photo(image=image.name, over=True)
        assert (behind.display_depth, behind.alpha) == ("FRONT", 0.5)
        assert image.canthus_photo.rms < 0.3
        assert image.canthus_photo.focal_found == pytest.approx(2400, rel=0.1)
    count = len(bpy.data.cameras)
    bpy.ops.canthus.solve_cameras()
    assert len(bpy.data.cameras) == count  # brought up to date, not made again
    scene_piece.read_piece(collection, scene)  # the head is none the worse for cameras beside it


def test_solved_cameras_follow_the_head_when_it_is_posed_and_scaled(collection, images, scene):
    """The host's own projection again: each landmark stays where its photograph shows it."""
    bpy.ops.canthus.solve_cameras()
    bpy.ops.canthus.pose()
    bpy.ops.canthus.scale(ratio="1/4")
    piece = scene_piece.read_piece(collection, scene)
    places = {name: Vector(mark.position) for name, mark in piece.landmarks.items()}
    assert (places["tragion-left"] - places["tragion-right"]).length == pytest.approx(144 / 4, rel=1e-4)
    assert abs(places["tragion-left"].y) < 1 / 4  # posed: the origin lies between the tragia
    for image in images:
        bpy.ops.canthus.look_through_photo(image=image.name)
        bpy.context.view_layer.update()
        for name, mark in image.canthus_photo.marks.items():
            if name in FACE:
                across, up, deep = world_to_camera_view(scene, scene.camera, places[name])
                assert (across * SIZE[0], (1 - up) * SIZE[1]) == pytest.approx(tuple(mark.place), abs=0.6)
                assert scene.camera.data.clip_start < deep < scene.camera.data.clip_end


def test_a_wrong_mark_shows_as_left_out(collection, images):
    image = images[1]
    x, y = image.canthus_photo.marks["stomion"].place
    bpy.ops.canthus.set_photo_mark(image=image.name, mark="stomion", place=(x + 60, y))
    bpy.ops.canthus.solve_cameras()
    shown = {name: (seen, left_out) for name, _, seen, left_out in photo_overlay.marks_shown(image)}
    assert shown["stomion"] == (None, True)
    assert shown["pronasale"][1] is False
    bpy.ops.canthus.set_photo_mark(image=image.name, mark="stomion", place=(x, y))
    assert not any(left_out for *_, left_out in photo_overlay.marks_shown(image))  # nothing is solved any more


def test_marks_are_drawn_in_shares_of_the_picture(collection):
    image = bpy.data.images.new("front", *SIZE)
    bpy.ops.canthus.set_photo_mark(image="front", mark="stomion", place=(150, 200))
    ((name, place, seen, left_out),) = photo_overlay.marks_shown(image)
    assert (name, seen, left_out) == ("stomion", None, False)
    assert place == pytest.approx((0.25, 0.75))


def test_a_ring_has_the_area_between_two_polygons():
    """Of 32 corners: 32 / 2 sin(360° / 32) (R² - r²)."""
    corners = photo_overlay.ring(np.array([5.0, 7.0]), 2.0, 3.0).reshape(-1, 3, 2)
    one, other = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    area = 0.5 * np.abs(one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0]).sum()
    assert area == pytest.approx(16 * math.sin(2 * math.pi / 32) * (9 - 4))
    np.testing.assert_allclose(corners.mean(axis=(0, 1)), [5.0, 7.0], atol=1e-12)


def test_place_eyes_takes_the_marks_of_the_images(collection, images, scene):
    bpy.ops.canthus.place_eyes(sources="photographs")
    eyes = scene_piece.read_piece(collection, scene).eyes
    for eye in eyes:
        assert eye.sources == ("photographs",)
        assert np.array(eye.centre) * 6 == pytest.approx(CENTRES[eye.side], abs=0.3)
    done = scene_piece.read_piece(collection, scene).history[-1]
    written = Path(done.settings["photographs"])
    files = {each.file for each in read_photo_marks(written, photo_images.MARK_NAMES)}
    assert files == {each.name for each in images}
    assert scene.canthus.place_eyes.photographs == ""  # the images go on being the source
    assert [row["marks"] for row in done.figures["photographs"]] == [19, 19, 19]


def test_a_saved_scene_keeps_marks_and_their_file(collection, images, tmp_path):
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "head.blend"))
    bpy.ops.canthus.place_eyes(sources="photographs")
    bpy.ops.canthus.save_recipe(filepath=str(tmp_path / "recipe.toml"))
    (step,) = recipe.read(tmp_path / "recipe.toml").steps
    assert Path(step.photographs) == tmp_path / "head.photographs.json"
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "head.blend"))
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "head.blend"))
    assert len(photo_images.marked_images()) == 3
    assert bpy.data.images["photograph 0"].canthus_photo.marks["stomion"].place[0] > 0


def test_settings_that_name_a_file_come_before_the_images(collection, images, tmp_path):
    path = tmp_path / "mine.csv"
    bpy.ops.canthus.save_photo_marks(filepath=str(path))
    bpy.ops.canthus.set_photo_mark(image=images[0].name, mark="left-pupil", place=(10, 10))
    bpy.ops.canthus.place_eyes(sources="photographs", photographs=str(path))
    piece = scene_piece.read_piece(bpy.data.collections[0], bpy.context.scene)
    assert piece.history[-1].settings["photographs"] == str(path)
    assert not any("left-pupil" in note for note in piece.notes)


def test_a_linked_photograph_is_left_alone(tmp_path):
    bpy.data.images.new("theirs", *SIZE).use_fake_user = True
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "library.blend"))
    bpy.ops.wm.read_homefile(use_empty=True, use_factory_startup=True)
    with bpy.data.libraries.load(str(tmp_path / "library.blend"), link=True) as (_, taken_over):
        taken_over.images = ["theirs"]
    with pytest.raises(RuntimeError, match="linked from another file"):
        bpy.ops.canthus.set_photo_mark(image="theirs", mark="stomion", place=(10, 10))
    assert photo_images.marked_images() == []


def test_solved_cameras_are_one_undo_step(collection, images):
    for image in images:
        image.use_fake_user = True
    bpy.ops.ed.undo_push(message="before")
    bpy.ops.canthus.solve_cameras("EXEC_DEFAULT", True)
    assert len(bpy.data.cameras) == 3
    bpy.ops.ed.undo()
    assert len(bpy.data.cameras) == 0
    assert [image.canthus_photo.rms for image in photo_images.marked_images()] == [0.0] * 3
    bpy.ops.ed.redo()
    assert len(bpy.data.cameras) == 3
    assert all(image.canthus_photo.focal_found > 0 for image in photo_images.marked_images())
