"""Eyes from simulated photographs of demo heads whose truth is known."""

import dataclasses

import numpy as np
import pytest
from canthus.anatomy.eyes.eye import EyeShape
from canthus.anatomy.eyes.gaze import PUPIL_BEHIND_APEX, gaze_way, pupil_ahead, turned_gaze
from canthus.anatomy.eyes.globe_fit import Estimate, combined
from canthus.anatomy.photographs.pupil_placing import eyes_from_photographs
from canthus.files.photo_marks import PhotoMarks
from demo_heads import demo_head
from photographs import photographed, shaken

RADIUS = 12.1  # the published one, not the sitter's own


def truth(seed):
    return demo_head(seed, 6.0).truth


def starts(person, seed=0):
    """Where the landmarks would look for the centres: 1.5 mm off in x, y and z."""
    generator = np.random.default_rng(seed)
    return {side: eye.centre + generator.normal(0, 1.5, 3) for side, eye in person.eyes.items()}


def found_by(photographs, person, seed=0, spread=1.0, landmarks=None):
    marks = shaken(person, seed, spread) if landmarks is None else landmarks
    return eyes_from_photographs(photographs, marks, starts(person, seed), RADIUS)


def misses(found, person):
    """Distance of each centre from the truth, mm."""
    return [np.linalg.norm(each.centre - person.eyes[side].centre) for side, each in found.estimates.items()]


@pytest.mark.parametrize("layout", ["front and both sides", "front to one side", "all near the front"])
def test_three_photographs_marked_to_a_pixel_keep_the_bar(layout):
    """0.6 mm at life size: three photographs of 2,000 px, marks off by 1 px, landmarks on the scan by 1 mm.

    Photographs taken within 15 degrees of each other tell less of the depth: 0.59 mm in 48 eyes, at most 1.5.
    """
    bar = 0.6
    off, person = [], truth(3)
    for seed in range(4):
        photographs, _ = photographed(person, layout, seed, gaze=("ahead", "camera")[seed % 2])
        off += misses(found_by(photographs, person, seed), person)
    assert len(off) == 8
    assert np.sqrt(np.mean(np.square(off))) <= bar
    assert max(off) < 2.5 * bar


def test_with_landmarks_as_true_as_the_marks_every_eye_keeps_it():
    person = truth(3)
    for seed in range(2):
        photographs, _ = photographed(person, "front and both sides", seed)
        assert max(misses(found_by(photographs, person, seed, 0.2), person)) <= 0.6


def test_cameras_and_figures_are_those_that_took_the_photographs():
    person = truth(3)
    photographs, cameras = photographed(person, "front and both sides", 4)
    found = found_by(photographs, person, 4)
    assert [each.photograph.file for each in found.photographs] == [each.file for each in photographs]
    for each, true in zip(found.photographs, cameras, strict=True):
        assert abs(np.log(each.camera.focal / true.focal)) < 3 * each.focal_error / each.camera.focal
        assert each.focal_error / each.camera.focal < 0.35  # a portrait tells little of its lens, and says so
        assert np.degrees(np.arccos(each.camera.turn[2] @ true.turn[2])) < 2.0
        assert 0.5 < each.rms < 2.0  # 1 px in x and in y is 1.4
        assert each.wrong == ()
    apart = np.linalg.norm(found.estimates["left"].centre - found.estimates["right"].centre)
    assert apart == pytest.approx(np.linalg.norm(person.eyes["left"].centre - person.eyes["right"].centre), abs=0.6)
    assert found.notes == ()


def test_one_photograph_leaves_the_depth_open_and_another_source_closes_it():
    person = truth(3)
    photographs, _ = photographed(person, "front and both sides", 1)
    found = found_by(photographs[:1], person, 1)
    for side, each in found.estimates.items():
        across, deep, up = np.sqrt(np.diag(each.covariance))
        assert deep > 20
        assert max(across, up) < 6
        rough = Estimate("landmarks", person.eyes[side].centre + 0.3, np.diag([1.5, 1.5, 1.5]) ** 2)
        both = combined([rough, each])
        assert np.linalg.norm(both.centre - person.eyes[side].centre) < 1.0
        assert np.sqrt(both.covariance[0, 0]) < 0.8


def test_a_gaze_that_is_told_is_used():
    person = truth(3)
    photographs, _ = photographed(person, "front to one side", 2, gaze="camera")
    lied = [dataclasses.replace(each, gaze="ahead") for each in photographs]
    assert max(misses(found_by(photographs, person, 2), person)) < 0.9
    assert max(misses(found_by(lied, person, 2), person)) > 2.0
    front = dataclasses.replace(photographs[0], gaze=(0.0, 0.0))
    straight = dataclasses.replace(photographs[0], gaze="ahead")
    one, other = (found_by([each], person, 2) for each in (front, straight))
    np.testing.assert_allclose(one.estimates["left"].centre, other.estimates["left"].centre, atol=1e-9)


def cropped(photograph):
    """The photograph without its upper quarter: its principal point then lies an eighth of the old height off."""
    width, height = photograph.size
    marks = {name: (x, y - height / 4) for name, (x, y) in photograph.marks.items() if y > height / 4}
    return dataclasses.replace(photograph, size=(width, height - height // 4), marks=marks)


def test_cropping_hardly_moves_the_eyes():
    """A turned camera stands in for a shifted lens: 50 solutions from 0.3 to 1.4 m kept the bar as whole ones."""
    person = truth(3)
    photographs, _ = photographed(person, "front and both sides", 3)
    whole = found_by(photographs, person, 3)
    cut = found_by([cropped(photographs[0]), *photographs[1:]], person, 3)
    assert len(cut.photographs) == 3
    for side, each in cut.estimates.items():
        assert np.linalg.norm(each.centre - whole.estimates[side].centre) < 0.3
    assert max(misses(cut, person)) < 0.9
    assert cut.notes == ()


WHOLE = (8000, 6000)


def group_portraits(person, seed):
    """Whole pictures with the sitter far off their middle, and pieces of 1,500 x 2,000 px cut out about the face."""
    whole, cut = photographed(person, "front and both sides", seed, size=WHOLE, aside=2500, tall=2000)[0], []
    for each in whole:
        left, top = (np.mean(list(each.marks.values()), axis=0) - [750, 1000]).round().tolist()
        marks = {name: (x - left, y - top) for name, (x, y) in each.marks.items()}
        cut.append(PhotoMarks(each.file, (1500, 2000), marks, each.gaze, whole=WHOLE, cut_at=(left, top)))
    return whole, cut


def test_a_face_cut_out_of_a_corner_is_as_good_as_the_whole_picture_if_that_is_said():
    """36 centres were off by 0.45 mm root mean square, by whole pictures 0.46, by pieces that did not tell 1.84."""
    person, off = truth(3), {"whole": [], "told": []}
    for seed in range(2):
        whole, cut = group_portraits(person, seed)
        untold = [dataclasses.replace(each, whole=None, cut_at=(0.0, 0.0)) for each in cut]
        found = {name: found_by(each, person, seed) for name, each in (("whole", whole), ("told", cut))}
        for name, each in found.items():
            off[name] += misses(each, person)
        assert all(each.rms < 1.5 for each in found["told"].photographs)  # 1 px in x and in y is 1.4
        assert max(misses(found_by(untold, person, seed), person)) > 1.2
    assert max(off["told"]) < 0.9
    assert np.sqrt(np.mean(np.square(off["told"]))) < np.sqrt(np.mean(np.square(off["whole"]))) + 0.1


def swapped(photograph):
    """The photograph marked as the viewer's left and right."""
    other = {"left": "right", "right": "left"}
    names = {name: "-".join(other.get(word, word) for word in name.split("-")) for name in photograph.marks}
    return dataclasses.replace(photograph, marks={names[name]: place for name, place in photograph.marks.items()})


def moved(photograph, name, across):
    x, y = photograph.marks[name]
    return dataclasses.replace(photograph, marks={**photograph.marks, name: (x + across, y)})


def test_what_does_not_fit_is_named_and_left_out():
    person = truth(3)
    photographs, _ = photographed(person, "front and both sides", 0)
    first, second, third = photographs
    sides = found_by([first, swapped(second), third], person)
    assert [each.photograph.file for each in sides.photographs] == [first.file, third.file]
    assert any(second.file in note and "sitter's own" in note for note in sides.notes)
    names = list(second.marks)
    stirred = dict(zip(names, np.random.default_rng(1).permutation(list(second.marks.values())).tolist(), strict=True))
    wrong = found_by([first, dataclasses.replace(second, marks=stirred), third], person)
    assert any(second.file in note and "left out" in note for note in wrong.notes)
    few = found_by([first, dataclasses.replace(second, marks={name: second.marks[name] for name in names[:4]})], person)
    assert any("shows 4 of the head's landmarks" in note for note in few.notes)
    none = found_by([swapped(first)], person)
    assert none.estimates == {}
    for found in (sides, wrong):
        assert max(misses(found, person)) < 1.2


def test_a_wrong_mark_a_wrong_pupil_and_a_wrong_landmark_are_told_apart():
    person = truth(3)
    first, second, third = photographed(person, "front and both sides", 1)[0]
    mark = found_by([first, moved(second, "stomion", 60), third], person, 1)
    assert mark.notes == (f"{second.file}: stomion was marked elsewhere and is left out",)
    assert mark.photographs[1].wrong == ("stomion",)
    pupil = found_by([first, moved(second, "left-pupil", 30), third], person, 1)
    assert pupil.notes == (f"{second.file}: left-pupil does not agree with the other marks and is left out",)
    landmarks = shaken(person, 1, 1.0)
    landmarks["cheilion-left"] = (landmarks["cheilion-left"][0] + 6.0, 1.0)
    landmark = found_by([first, second, third], person, 1, landmarks=landmarks)
    assert len(landmark.notes) == 1
    assert "see cheilion-left 1" in landmark.notes[0]  # 10.4 mm
    for found in (mark, pupil, landmark):
        assert max(misses(found, person)) < 1.0


def test_few_marks_need_a_focal_length_their_own_or_a_shared_one():
    person = truth(3)
    first, second, third = photographed(person, "front and both sides", 3)[0]
    names = [*list(second.marks)[:5], "left-pupil"]
    few = dataclasses.replace(second, marks={name: second.marks[name] for name in names})
    assert len(found_by([first, few, third], person, 3).photographs) == 2
    shared = [dataclasses.replace(each, lens="one") for each in (first, few, third)]
    taken = [each.camera.focal for each in photographed_with_one_lens(person)]
    assert len(set(taken)) == 1
    assert len(found_by(shared, person, 3).photographs) == 3
    given = dataclasses.replace(few, focal=5000.0)
    found = found_by([first, given, third], person, 3)
    assert found.photographs[1].camera.focal == 5000.0
    assert found.photographs[1].focal_error == 0.0


def photographed_with_one_lens(person):
    photographs = photographed(person, "all near the front", 6)[0]
    return found_by([dataclasses.replace(each, lens="one") for each in photographs], person, 6).photographs


def test_eyes_without_a_first_guess_are_found_where_their_rays_meet():
    person = truth(3)
    photographs, _ = photographed(person, "front and both sides", 5)
    found = eyes_from_photographs(photographs, shaken(person, 5, 1.0), {}, RADIUS)
    assert max(misses(found, person)) < 1.0


def test_the_pupil_is_seen_through_the_cornea():
    """Paraxial refraction at one surface (n = 1.336, R = 7.8 mm): a pupil 3.6 mm deep is seen at 3.05."""
    seen = 1 / (1.336 / 3.6 - 0.336 / 7.8)
    assert pytest.approx(seen, abs=0.01) == PUPIL_BEHIND_APEX
    assert pupil_ahead(12.0) == pytest.approx(EyeShape(24.0).apex - seen, abs=0.01)


def test_gaze_turns_to_the_sitters_left_and_up():
    np.testing.assert_allclose(gaze_way(0, 0), [0, -1, 0], atol=1e-12)
    np.testing.assert_allclose(gaze_way(90, 0), [1, 0, 0], atol=1e-12)
    np.testing.assert_allclose(gaze_way(0, 90), [0, 0, 1], atol=1e-12)
    np.testing.assert_allclose(turned_gaze(gaze_way(5, -3), 10, 4), gaze_way(15, 1), atol=1e-12)
