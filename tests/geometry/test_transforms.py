"""Transforms against scipy's Rotation, which is no code of ours, and against hand-worked cases."""

import numpy as np
import pytest
from canthus.geometry.errors import BadCloud
from canthus.geometry.transforms import applied, matched, reflection, rotation, towards_planes, transform
from scipy.spatial.transform import Rotation


@pytest.fixture
def points():
    return np.random.default_rng(3).normal(size=(40, 3)) * [30.0, 20.0, 10.0]


def test_rotation_is_scipys():
    axis, angle = np.array([1.0, -2.0, 0.5]), 1.234
    expected = Rotation.from_rotvec(axis / np.linalg.norm(axis) * angle).as_matrix()
    np.testing.assert_allclose(rotation(axis, angle), expected, atol=1e-14)


@pytest.mark.parametrize("size", [1.0, 0.17, 6.0])
def test_a_similarity_is_found_again(points, size):
    motion = transform(size * Rotation.random(random_state=4).as_matrix(), [5.0, -7.0, 300.0])
    np.testing.assert_allclose(matched(points, applied(motion, points), scaled=True), motion, atol=1e-9)


def test_least_squares_turn_is_scipys(points):
    rng = np.random.default_rng(5)
    target = points @ Rotation.random(random_state=6).as_matrix().T + rng.normal(size=points.shape)
    weights = rng.uniform(0.1, 2.0, len(points))
    here, there = points - weights @ points / weights.sum(), target - weights @ target / weights.sum()
    expected = Rotation.align_vectors(there, here, weights=weights)[0].as_matrix()
    np.testing.assert_allclose(matched(points, target, weights)[:3, :3], expected, atol=1e-9)


def test_a_mirror_image_is_not_matched_by_mirroring(points):
    found = matched(points, applied(reflection([1.0, 0.0, 0.0]), points))
    assert np.linalg.det(found[:3, :3]) == pytest.approx(1.0)


def test_points_on_a_line_are_refused():
    line = np.outer(np.arange(5.0), [1.0, 2.0, 3.0])
    with pytest.raises(BadCloud, match="line"):
        matched(line, line)
    with pytest.raises(BadCloud, match="three"):
        matched(line[:2], line[:2])


def test_reflection_keeps_its_plane():
    mirror = reflection([0.0, 3.0, 4.0], 2.0)
    on_plane = np.array([7.0, 2.0, 1.0])  # 0.6 * 2 + 0.8 * 1 = 2
    np.testing.assert_allclose(applied(mirror, on_plane), on_plane, atol=1e-12)
    np.testing.assert_allclose(mirror @ mirror, np.eye(4), atol=1e-12)


@pytest.mark.parametrize("size", [1.0, 60.0])
def test_planes_draw_points_to_the_move_they_were_made_by(points, size):
    """Planes of all slants through points that scipy's Rotation moved: only that move lays every point on its own."""
    wanted = transform(Rotation.from_rotvec([0.2, -0.1, 0.3]).as_matrix(), [3.0, -2.0, 1.0])
    places, normals = applied(wanted, points), Rotation.random(len(points), random_state=7).as_matrix()[:, 0]
    found = np.eye(4)
    for _ in range(12):
        found = towards_planes(applied(found, points), places, normals, size)[0] @ found
    np.testing.assert_allclose(found, wanted, atol=1e-6)


def test_nothing_moves_along_planes(points):
    flat = points * [1.0, 1.0, 0.0]
    move, motion = towards_planes(
        applied(transform(np.eye(3), (0, 0, 2)), flat), flat, np.broadcast_to([0.0, 0.0, 1.0], flat.shape)
    )
    np.testing.assert_allclose(move, transform(np.eye(3), [0.0, 0.0, -2.0]), atol=1e-9)
    np.testing.assert_allclose(motion, [0.0, 0.0, 0.0, 0.0, 0.0, -2.0], atol=1e-9)
