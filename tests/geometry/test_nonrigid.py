"""A sheet of quads drawn onto known surfaces, folds undone, poor faces mended, and a picture over texture places."""

import numpy as np
import pytest
from canthus.geometry.mending.intersections import self_intersections
from canthus.geometry.mesh import Mesh
from canthus.geometry.quad_meshes.goal import Goal
from canthus.geometry.quad_meshes.nonrigid import COARSE, FINE, Wanted, carried, detailed, fitted
from canthus.geometry.quad_meshes.quads import as_triangles, corner_angles
from canthus.geometry.quad_meshes.quads_fairing import faired, poor_faces
from canthus.geometry.quad_meshes.subdivision import refined
from canthus.geometry.quad_meshes.texture import spread_out
from canthus.geometry.quad_meshes.unfolding import unfolded
from canthus.geometry.solids.primitives import icosphere

CUBE = np.array([[x, y, z] for z in (-1.0, 1.0) for y in (-1.0, 1.0) for x in (-1.0, 1.0)])
SIDES = np.array([[0, 2, 3, 1], [4, 5, 7, 6], [0, 1, 5, 4], [2, 6, 7, 3], [0, 4, 6, 2], [1, 3, 7, 5]])


def ball_of_quads(levels=4, radius=40.0):
    quads, points = SIDES, CUBE
    for _ in range(levels):
        level = refined(quads, len(points))
        quads, points = level.quads, level.matrix @ points
    return radius * points / np.linalg.norm(points, axis=1, keepdims=True), quads


def sheet(count=21, side=20.0):
    x, y = np.meshgrid(np.linspace(0, side, count), np.linspace(0, side, count), indexing="ij")
    rows = np.arange(count * count).reshape(count, count)
    quads = np.stack([rows[:-1, :-1], rows[1:, :-1], rows[1:, 1:], rows[:-1, 1:]], axis=2).reshape(-1, 4)
    return np.stack([x.ravel(), y.ravel(), np.zeros(x.size)], axis=1), quads


def test_a_ball_comes_onto_an_ellipsoid():
    """x²/a² + y²/b² + z²/c² = 1 at every vertex, to a hundredth; the ellipsoid itself is 0.02 mm coarse."""
    vertices, quads = ball_of_quads()
    axes = np.array([38.0, 44.0, 50.0])
    goal = Goal(Mesh(icosphere(5, 1.0).vertices * axes, icosphere(5, 1.0).triangles))
    rows = np.array([int(np.argmax(vertices @ way)) for way in np.vstack([np.eye(3), -np.eye(3)])])
    places = axes * np.sign(np.round(vertices[rows], 6)) * (np.abs(vertices[rows]) > 1)
    start = carried(vertices, quads, rows, places)
    np.testing.assert_allclose(start[rows], places, atol=0.05)
    found = fitted(start, quads, Wanted(goal, rows, places), (*COARSE, *FINE))
    found, weight = detailed(found, quads, Wanted(goal, rows, places), 1.0)
    assert np.abs(np.linalg.norm(found / axes, axis=1) - 1).max() < 1e-3
    assert (weight > 0.9).all()


def test_where_nothing_was_seen_the_shape_is_kept():
    """A ball drawn to the lower half of one 4 mm larger: the upper half, without data, swells with it."""
    vertices, quads = ball_of_quads()
    large = icosphere(5, 44.0)
    half = large.kept(large.corners[:, :, 2].max(axis=1) < 8.0)
    rows = np.array([int(np.argmin(vertices[:, 2])), int(np.argmax(vertices[:, 0])), int(np.argmin(vertices[:, 0]))])
    places = vertices[rows] * 1.1
    found = fitted(vertices, quads, Wanted(Goal(half), rows, places), (*COARSE, *FINE))
    away = np.linalg.norm(found, axis=1) - 44.0
    assert np.abs(away[vertices[:, 2] < 0]).max() < 0.1
    assert np.abs(away).max() < 2.5  # it keeps its own radius of 40 nowhere


def test_a_fold_goes_back_and_the_rest_stays():
    flat, quads = sheet()
    moved = flat.copy()
    moved[:, 2] = 1.0
    middle = np.linalg.norm(flat[:, :2] - 10, axis=1) < 1.6
    moved[middle, 0] = 20 - moved[middle, 0] + 6.0 * (flat[middle, 0] - 10)  # the patch turned inside out
    moved[middle, 0] = 10 - 3.0 * (flat[middle, 0] - 10)
    assert len(self_intersections(Mesh(moved, as_triangles(moved, quads)))) or poor_faces(moved, quads).any()
    found, left = unfolded(flat, moved, quads)
    assert left == 0
    assert not len(self_intersections(Mesh(found, as_triangles(found, quads))))
    far = np.linalg.norm(flat[:, :2] - 10, axis=1) > 8
    np.testing.assert_array_equal(found[far], moved[far])


def test_a_sharp_face_is_made_even_within_reach():
    flat, quads = sheet()
    bent = flat.copy()
    bent[220] += [0.9, 0.85, 0.0]  # the middle vertex, almost on the one across its face
    assert np.degrees(corner_angles(bent, quads).min()) < 20
    found = faired(bent, quads, 1.0)
    assert not poor_faces(found, quads).any()
    moved = np.linalg.norm(found - bent, axis=1)
    assert moved.max() <= 1.0 + 1e-9
    assert (moved > 0).sum() < 100
    assert faired(bent, quads, 0.0)[220].tolist() == bent[220].tolist()


def test_a_picture_knows_where_its_pixels_lie():
    """A flat sheet over the whole square: each pixel's middle is its place, rows from the top."""
    flat, quads = sheet()
    places, known = spread_out(flat, quads, flat[:, :2] / 20, quads, 64)
    assert known.all()
    middles = (np.arange(64) + 0.5) / 64 * 20
    assert np.abs(places[..., 0] - middles).max() < 20 / 64
    assert np.abs(places[::-1, :, 1] - middles[:, None]).max() < 20 / 64


def test_nothing_is_drawn_to_an_edge():
    half = icosphere(4, 40.0)
    half = half.kept(half.corners[:, :, 2].max(axis=1) < 0.0)
    place, weight = Goal(half).pulls(np.array([[0.0, 0.0, 39.0], [0.0, 0.0, -39.0]]), np.diag([1.0, 1, 1])[[2, 2]], 5.0)
    assert weight[0] == 0.0
    assert place[1] == pytest.approx([0, 0, -40], abs=0.3)
