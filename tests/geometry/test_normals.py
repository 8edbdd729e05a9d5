"""Normals and their signs on bodies whose normals are known."""

import numpy as np
import pytest
from canthus.geometry.clouds.normals import least_axis, normals_through, plane_normals
from canthus.geometry.clouds.orientation import along_a_tree, towards_sensors
from canthus.geometry.clouds.own_sheet import on_own_sheet
from canthus.geometry.neighbours import arranged


def torus(count=12_000, seed=0):
    """Points on a ring of radii 30 and 10 with their outward normals: concave and convex, genus 1."""
    rng = np.random.default_rng(seed)
    turn, tilt = rng.random((2, count)) * 2 * np.pi
    normals = np.stack([np.cos(turn) * np.cos(tilt), np.sin(turn) * np.cos(tilt), np.sin(tilt)], axis=1)
    return 30 * np.stack([np.cos(turn), np.sin(turn), 0 * turn], axis=1) + 10 * normals, normals


def test_least_axis_agrees_with_lapack():
    """numpy.linalg.eigh on random symmetric matrices, scales from 1e-6 to 1e6."""
    rng = np.random.default_rng(2)
    roots = rng.standard_normal((500, 3, 3)) * 10 ** rng.uniform(-3, 3, (500, 1, 1))
    matrices = roots @ roots.transpose(0, 2, 1)
    axis, share = least_axis(matrices)
    values, vectors = np.linalg.eigh(matrices)
    np.testing.assert_allclose(share, values[:, 0] / values.sum(axis=1), atol=1e-7)
    clear = values[:, 1] - values[:, 0] > 1e-3 * values[:, 2]
    np.testing.assert_allclose(np.abs(np.einsum("ij,ij->i", axis, vectors[:, :, 0]))[clear], 1, atol=1e-6)


@pytest.mark.parametrize("values", [(1, 1, 0), (1, 0, 0), (1, 1, 1), (0, 0, 0)])
def test_degenerate_matrices_still_give_a_unit_axis(values):
    matrix = np.diag(values).astype(float)
    axis, _ = least_axis(matrix[None])
    assert np.linalg.norm(axis) == pytest.approx(1)
    assert float(axis[0] @ matrix @ axis[0]) == pytest.approx(min(values))


def test_normals_of_a_plane_are_exact_far_from_the_origin():
    points = np.random.default_rng(0).random((500, 3)) * [50, 50, 0] + [1e6, -1e6, 1e6]
    normals, variation = plane_normals(arranged(points), 10)
    np.testing.assert_allclose(np.abs(normals[:, 2]), 1, atol=1e-7)
    assert variation.max() < 1e-9


def test_signs_are_carried_all_round_a_ring():
    points, truth = torus()
    held = arranged(points)
    normals, _ = plane_normals(held, 12)
    _, rows = held.nearest(8)
    oriented = along_a_tree(held.points, normals, rows)
    assert (np.einsum("ij,ij->i", oriented, truth[held.rows]) > 0).all()


def test_both_sides_of_a_thin_plate_face_away_from_each_other():
    """An ear's rim: sides 1.5 mm apart, points 0.7 mm apart, joined over a round edge."""
    rng = np.random.default_rng(1)
    turn = rng.random(40_000) * np.pi - np.pi / 2
    side = np.where(rng.random(40_000) < 0.5, 1, -1)
    flat = rng.random(40_000) < 0.85
    x = np.where(flat, -20 * rng.random(40_000), 0.75 * np.cos(turn))
    z = np.where(flat, 0.75 * side, 0.75 * np.sin(turn))
    y = rng.random(40_000) * 30
    truth = np.stack([np.where(flat, 0, np.cos(turn)), 0 * y, np.where(flat, side, np.sin(turn))], axis=1)
    held = arranged(np.stack([x, y, z], axis=1))
    normals, _ = plane_normals(held, 12)
    _, rows = held.nearest(8)
    agree = np.einsum("ij,ij->i", along_a_tree(held.points, normals, rows), truth[held.rows])
    assert (agree > 0).mean() > 0.995


def test_normals_turn_to_the_sensor_that_saw_them():
    points, truth = torus()
    sensors = np.array([[0.0, 0, 1000], [0, 0, -1000]])
    view = (truth[:, 2] < 0).astype(int)
    oriented = towards_sensors(points, truth * np.where(np.arange(len(truth)) % 2, 1, -1)[:, None], sensors, view)
    clear = np.abs(truth[:, 2]) > 0.1
    np.testing.assert_array_equal(oriented[clear], truth[clear])


def test_sensors_turn_normals_rightly_where_noise_leans_them_past_the_ray():
    """A ball seen from one side: normals 20 degrees off, no sign wrong where the ray itself comes from outside."""
    rng = np.random.default_rng(3)
    truth = rng.standard_normal((20_000, 3))
    truth /= np.linalg.norm(truth, axis=1, keepdims=True)
    sensor = np.array([[0.0, -450.0, 0.0]])
    ray = sensor - 80 * truth
    truth = truth[np.einsum("ij,ij->i", ray, truth) > 0.2 * np.linalg.norm(ray, axis=1)]  # seen up to 78 degrees
    found = truth + 0.2 * rng.standard_normal(truth.shape)
    found /= np.linalg.norm(found, axis=1, keepdims=True) * rng.choice([-1, 1], (len(found), 1))
    view = np.zeros(len(truth), np.int64)
    plain = np.einsum("ij,ij->i", sensor - 80 * truth, found) > 0
    assert (plain != (np.einsum("ij,ij->i", found, truth) > 0)).mean() > 0.01
    turned = towards_sensors(80 * truth, found, sensor, view)
    assert (np.einsum("ij,ij->i", turned, truth) > 0).mean() > 0.9999


def lobe(seed=5):
    """An ear's lobe: its front seen well, 3 mm behind that few points of its back; with what is back and the truth."""
    rng = np.random.default_rng(seed)
    front, back = (rng.uniform(-10, 10, (count, 2)) for count in (550, 90))  # 0.85 and 2.1 mm apart
    x, z = np.concatenate([front, back]).T
    is_back = np.arange(len(x)) >= len(front)
    y = np.where(is_back, 3.0, 0.0) + 0.02 * x * x + 0.05 * rng.standard_normal(len(x))  # bent as a lobe is
    truth = np.stack([-0.04 * x, np.ones(len(x)), 0 * x], axis=1)
    truth *= np.where(is_back, 1, -1)[:, None] / np.linalg.norm(truth, axis=1, keepdims=True)
    return np.stack([x, y, z], axis=1), truth, is_back & (np.hypot(x, z) < 8)


def test_few_points_behind_a_thin_part_get_the_normals_of_their_own_sheet():
    points, truth, back = lobe()
    held = arranged(points)
    truth, back = truth[held.rows], back[held.rows]
    apart, rows = held.tree.query(held.points, 25)
    planes, shares = normals_through(held.points, rows[:, :17])
    mended = on_own_sheet(held.points, rows, apart, planes, shares)
    wrong = [(np.abs(np.einsum("ij,ij->i", found, truth)) < 0.7) & back for found in (planes, mended)]
    assert wrong[0].sum() > 0.2 * back.sum()
    assert wrong[1].sum() < 0.03 * back.sum()
    front = truth[:, 1] < 0
    np.testing.assert_array_equal(mended[front & (shares < 0.01)], planes[front & (shares < 0.01)])


def test_points_across_a_thin_part_vote_for_the_other_sign():
    """The back of a lobe seen at a slant, its normals leaning past the ray; the front, nearer by, is seen squarely."""
    points, truth, back = lobe()
    sensors = np.array([[0.0, -450.0, 0.0], [450.0, 60.0, 0.0]])
    is_back = truth[:, 1] > 0
    found = truth.copy()
    leaning = back & (np.arange(len(points)) % 3 == 0)
    found[leaning] += [-0.35, 0.0, 0.0]
    found /= np.linalg.norm(found, axis=1, keepdims=True)
    ray = sensors[is_back.astype(int)] - points
    assert (np.einsum("ij,ij->i", ray, found)[leaning] < 0).mean() > 0.5
    turned = towards_sensors(points, found, sensors, is_back.astype(int))
    assert (np.einsum("ij,ij->i", turned, truth)[back] > 0).mean() > 0.9
