"""Cameras against a published worked example, exact constructions and their own scatter."""

import numpy as np
import pytest
from canthus.geometry.errors import NotPossible
from canthus.geometry.photographs.bundle import Sight, bundle
from canthus.geometry.photographs.cameras import Camera
from canthus.geometry.photographs.first_cameras import first_cameras, linear_matrix, parted
from canthus.geometry.photographs.resection import resected
from canthus.geometry.photographs.triangulation import nearest_to_rays
from photographs import camera

# Hartley and Zisserman, Multiple View Geometry in Computer Vision, 2nd edition, example 6.2, from memory: a camera
# matrix with its centre, calibration and rotation; multiplying them out gives the matrix again.
PUBLISHED = np.array(
    [
        [3.53553e2, 3.39645e2, 2.77744e2, -1.44946e6],
        [-1.03528e2, 2.33212e1, 4.59607e2, -6.32525e5],
        [7.07107e-1, -3.53553e-1, 6.12372e-1, -9.18559e2],
    ]
)
CALIBRATION = np.array([[468.2, 91.2, 300.0], [0.0, 427.2, 200.0], [0.0, 0.0, 1.0]])
TURN = np.array([[0.41380, 0.90915, 0.04708], [-0.57338, 0.22011, 0.78917], [0.70711, -0.35355, 0.61237]])
CENTRE = np.array([1000.0, 2000.0, 1500.0])


def head_points(seed, count, relief=1.0):
    """Points as spread as a face's landmarks, mm; `relief` flattens them from front to back."""
    points = np.random.default_rng(seed).normal(0, 45, (count, 3))
    points[:, 1] *= relief
    return points


def test_a_published_camera_matrix_comes_apart_as_published():
    calibration, turn, shift = parted(PUBLISHED)
    np.testing.assert_allclose(calibration, CALIBRATION, atol=0.06)
    np.testing.assert_allclose(turn, TURN, atol=2e-5)
    np.testing.assert_allclose(-turn.T @ shift, CENTRE, rtol=1e-5)
    for sign in (-2.0, 0.5):  # known up to a factor only
        np.testing.assert_allclose(parted(sign * PUBLISHED)[1], turn, atol=1e-9)


def test_the_linear_transform_finds_a_published_matrix_again():
    points = np.random.default_rng(0).uniform(-200, 200, (9, 3))
    seen = np.column_stack([points, np.ones(9)]) @ PUBLISHED.T
    found = linear_matrix(points, seen[:, :2] / seen[:, 2:])
    signed = PUBLISHED / np.linalg.norm(PUBLISHED) * np.sign(np.median(seen[:, 2]))
    np.testing.assert_allclose(found, signed, atol=1e-9)


def test_too_few_or_flat_points_are_refused():
    points = head_points(1, 8)
    with pytest.raises(NotPossible, match="needs 6 points"):
        linear_matrix(points[:5], points[:5, :2])
    points[:, 1] = 0
    with pytest.raises(NotPossible, match="one plane"):
        linear_matrix(points, points[:, :2])
    with pytest.raises(NotPossible, match="needs 4 points"):
        first_cameras(points[:3], points[:3, :2], (100, 100))
    line = np.outer(np.arange(6.0), [1.0, 2.0, 3.0])
    with pytest.raises(NotPossible, match="one line"):
        first_cameras(line, line[:, :2], (100, 100))


@pytest.mark.parametrize("turn", [-60, 0, 40])
@pytest.mark.parametrize(("count", "relief"), [(4, 1.0), (5, 0.5), (12, 0.4)])
def test_a_camera_of_known_focal_length_is_found_from_few_points(turn, count, relief):
    points = head_points(turn + 100, count, relief)
    true = camera(turn, 8, 900, np.zeros(3), 5000.0, roll=12)
    found = resected(points, np.full(count, 0.01), true.project(points), 0.5, true.picture, 5000.0)[0].cameras[0]
    np.testing.assert_allclose(found.place, true.place, atol=0.5)
    np.testing.assert_allclose(found.turn, true.turn, atol=1e-3)


def test_an_unknown_focal_length_is_found_and_its_uncertainty_is_true():
    """Of 40 seeds the miss over the stated uncertainty scatters as a normal variable does."""
    true = camera(20, 5, 800, np.zeros(3), 4000.0)
    ratios = []
    for seed in range(40):
        points = head_points(3, 14)
        marks = true.project(points) + np.random.default_rng(seed).normal(0, 2, (14, 2))
        sight = Sight(np.arange(14), marks, 2.0, np.zeros((14, 3)))
        found = bundle([true], [sight], points, np.full(14, 0.01), [0], [False])
        ratios.append(np.log(found.cameras[0].focal / 4000.0) * 4000.0 / found.focal_errors[0])
    assert 0.7 < np.std(ratios) < 1.3
    assert abs(np.mean(ratios)) < 0.5


def test_slopes_are_those_of_small_steps():
    true = camera(-25, 3, 700, np.zeros(3), 3000.0)
    points, step = head_points(5, 6), 1e-4
    by_place, by_lens = true.slopes(points)
    for axis in range(3):
        moved = Camera(true.turn, true.shift + step * np.eye(3)[axis], true.focal, true.picture)
        np.testing.assert_allclose(
            (moved.project(points) - true.project(points)) / step, by_place[:, :, axis], rtol=1e-4, atol=1e-4
        )
    longer = Camera(true.turn, true.shift, true.focal * np.exp(1e-6), true.picture)
    np.testing.assert_allclose((longer.project(points) - true.project(points)) / 1e-6, by_lens, rtol=1e-4)


def test_nearest_to_two_skew_lines_is_the_middle_of_their_shortest_joint():
    """The x axis, and a line along y at height 2: the joint runs from (0, 0, 0) to (0, 0, 2)."""
    point = nearest_to_rays(np.array([[-7.0, 0, 0], [0.0, 5.0, 2.0]]), np.array([[1.0, 0, 0], [0.0, 1.0, 0]]))
    np.testing.assert_allclose(point, [0, 0, 1], atol=1e-12)
    with pytest.raises(NotPossible, match="two photographs"):
        nearest_to_rays(np.zeros((2, 3)), np.array([[0, 1.0, 0], [0, 1.0, 0]]))


def seen_by_three(seed, wrong=0.0):
    """A point of unknown place among known ones, seen by three cameras at one height."""
    generator = np.random.default_rng(seed)
    points = np.vstack([head_points(9, 15), [[30.0, -60.0, 20.0]]])
    cameras = [camera(turn, 3, 900, np.zeros(3), 5000.0) for turn in (-30, 0, 30)]
    sights = []
    for taken in cameras:
        pixels = taken.project(points) + generator.normal(0, 1, (16, 2))
        pixels[2] += wrong if taken is cameras[1] else 0.0
        sights.append(Sight(np.arange(16), pixels, 1.0, np.zeros((16, 3))))
    spreads = np.append(np.full(15, 0.3), 50.0)
    shaken = points + np.append(generator.normal(0, 0.3, (15, 3)), [[0.0, 0, 0]], axis=0)
    return bundle(cameras, sights, shaken, spreads, [0, 1, 2], [False] * 3), points


def test_a_triangulated_point_is_right_to_within_its_covariance():
    """The squared Mahalanobis distance averages to the three unknowns (chi-squared)."""
    squares = []
    for seed in range(40):
        found, points = seen_by_three(seed)
        miss = found.points[15] - points[15]
        squares.append(miss @ np.linalg.solve(found.covariance[45:, 45:], miss))
    assert 1.8 < np.mean(squares) < 4.5
    assert np.mean([found.excess for found, _ in [seen_by_three(0)]]) < 1.3


def test_one_wrong_mark_does_little_harm():
    found, points = seen_by_three(1, wrong=200.0)
    assert np.linalg.norm(found.points[15] - points[15]) < 1.5
    assert [np.linalg.norm(misses[2]) > 100 for misses in found.misses] == [False, True, False]


def test_one_mistaken_point_does_little_harm():
    """A known point 15 mm from where all cameras see it: the others hold, and it is seen where it is."""
    points = head_points(9, 15)
    cameras = [camera(turn, 3, 900, np.zeros(3), 5000.0) for turn in (-30, 0, 30)]
    sights = [Sight(np.arange(15), each.project(points), 1.0, np.zeros((15, 3))) for each in cameras]
    thought = points.copy()
    thought[4] += [15.0, 0.0, 0.0]
    found = bundle(cameras, sights, thought, np.full(15, 1.0), [0, 1, 2], [False] * 3)
    off = np.linalg.norm(found.points - points, axis=1)
    assert off[4] < 1.5
    assert np.sqrt(np.mean(off**2)) < 0.7


def test_cameras_of_one_lens_share_their_focal_length():
    points = head_points(4, 12)
    cameras = [camera(turn, 0, 900, np.zeros(3), 4000.0) for turn in (-20, 25)]
    sights = [Sight(np.arange(12), each.project(points), 1.0, np.zeros((12, 3))) for each in cameras]
    starts = [Camera(each.turn, each.shift, 3000.0, each.picture) for each in cameras]
    shared = bundle(starts, sights, points, np.full(12, 0.1), [0, 0], [False, False])
    alone = bundle(starts, sights, points, np.full(12, 0.1), [0, 1], [False, False])
    assert shared.cameras[0].focal == shared.cameras[1].focal
    assert shared.cameras[0].focal == pytest.approx(4000, rel=0.02)
    assert max(shared.focal_errors) < min(alone.focal_errors)
    held = bundle(cameras, sights, points, np.full(12, 0.1), [0, 1], [True, False])
    assert held.cameras[0].focal == 4000.0
    assert held.focal_errors[0] == 0.0
