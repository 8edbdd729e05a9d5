"""The head's frame: the Frankfurt horizontal as reference_values.md section 2 defines it, found again in any pose."""

import numpy as np
import pytest
from canthus.anatomy.face.frame import frame_of_directions, head_frame, mid_sagittal
from canthus.anatomy.face.landmarks import twin
from canthus.anatomy.face.proportions import mean_head
from canthus.geometry.errors import BadSetting, NotReady
from canthus.geometry.transforms import applied
from demo_heads import any_pose


def moved(marks, motion):
    return {name: applied(motion, place) for name, place in marks.items()}


@pytest.mark.parametrize("seed", range(5))
def test_a_posed_head_comes_back_from_any_pose(seed):
    motion = any_pose(seed)
    frame = head_frame(moved(mean_head(), motion))
    assert frame.exact
    np.testing.assert_allclose(frame.matrix @ motion, np.eye(4), atol=1e-9)


def test_tragia_and_orbitalia_lie_level_and_the_face_looks_along_minus_y():
    rng = np.random.default_rng(1)
    marks = {name: place + rng.normal(scale=1.5, size=3) for name, place in mean_head().items()}
    frame = head_frame(marks)
    posed = moved(marks, frame.matrix)
    ears = (posed["tragion-left"] + posed["tragion-right"]) / 2
    eyes = (posed["orbitale-left"] + posed["orbitale-right"]) / 2
    np.testing.assert_allclose([ears[1], ears[2], eyes[2]], 0.0, atol=1e-9)
    assert posed["pronasale"][1] < -90
    assert posed["vertex"][2] > 90
    assert posed["tragion-left"][0] > 60
    assert frame.asymmetry > 0.1


def test_the_nod_is_as_unsure_as_its_landmarks_make_it():
    """Tragia each 1.5 mm off in height, both orbitalia together 2.5 mm: what their plane's slope then does."""
    rng = np.random.default_rng(3)
    nods = []
    for _ in range(400):
        marks = mean_head()
        for name in ("tragion-left", "tragion-right"):
            marks[name] = marks[name] + [0.0, 0.0, rng.normal(scale=1.5)]
        rise = rng.normal(scale=2.5)
        for name in ("orbitale-left", "orbitale-right"):
            marks[name] = marks[name] + [0.0, 0.0, rise]
        up = head_frame(marks).matrix[2, :3]
        nods.append(np.degrees(np.arctan2(up[1], up[2])))
    assert head_frame(mean_head()).nod == pytest.approx(np.std(nods), rel=0.12)


def test_a_mirrored_head_gets_the_mirrored_frame():
    rng = np.random.default_rng(2)
    marks = {name: place + rng.normal(scale=2.0, size=3) for name, place in mean_head().items()}
    mirrored = {twin(name): place * [-1, 1, 1] for name, place in marks.items()}
    flip = np.diag([-1.0, 1.0, 1.0, 1.0])
    np.testing.assert_allclose(head_frame(mirrored).matrix, flip @ head_frame(marks).matrix @ flip, atol=1e-9)


def test_without_ears_the_horizontal_is_that_of_a_mean_adult_and_says_so():
    marks = {name: place for name, place in mean_head().items() if "tragion" not in name and "orbitale" not in name}
    motion = any_pose(9)
    frame = head_frame(moved(marks, motion))
    assert not frame.exact
    assert frame.nod > head_frame(mean_head()).nod
    assert "tragia" in frame.how
    assert "orbitalia" in frame.how
    np.testing.assert_allclose(frame.matrix @ motion, np.eye(4), atol=1e-6)


def test_too_few_landmarks_are_refused():
    mean = mean_head()
    with pytest.raises(NotReady, match="both sides"):
        mid_sagittal({"pronasale": mean["pronasale"]})
    eyes = {name: mean[name] for name in mean if "canthion" in name}
    with pytest.raises(NotReady, match="line"):
        head_frame(eyes)


def test_directions_given_by_hand():
    frame = frame_of_directions(np.array([0.0, 2.0, 0.0]), np.array([0.0, 1.0, 3.0]), np.array([1.0, 1.0, 1.0]))
    np.testing.assert_allclose(applied(frame.matrix, np.array([1.0, 6.0, 1.0])), [0, 0, 5], atol=1e-12)
    np.testing.assert_allclose(applied(frame.matrix, np.array([1.0, 1.0, 9.0])), [0, -8, 0], atol=1e-12)
    with pytest.raises(BadSetting):
        frame_of_directions(np.array([0.0, 1.0, 0.0]), np.array([0.0, 5.0, 0.0]), np.zeros(3))
