"""Quads and their subdivision: the cube worked by hand, Euler's formula, and the B-spline a rim becomes."""

import numpy as np
import pytest
from canthus.geometry.errors import BadMesh
from canthus.geometry.quad_meshes.quads import (
    as_triangles,
    corner_angles,
    edges_of,
    facing_of,
    needed_quads,
    quad_normals,
    rims_of,
)
from canthus.geometry.quad_meshes.subdivision import refined, refined_line

CUBE = np.array([[x, y, z] for z in (-1.0, 1.0) for y in (-1.0, 1.0) for x in (-1.0, 1.0)])
SIDES = np.array([[0, 2, 3, 1], [4, 5, 7, 6], [0, 1, 5, 4], [2, 6, 7, 3], [0, 4, 6, 2], [1, 3, 7, 5]])


def test_a_cube_once_by_hand():
    """Catmull and Clark's three rules worked on a cube of half side 1: corners go to 5/9, edges to 3/4, faces stay."""
    level = refined(SIDES, 8)
    points = level.matrix @ CUBE
    np.testing.assert_allclose(points[:8], CUBE * 5 / 9, atol=1e-15)
    assert sorted(np.abs(points[8:20]).ravel().round(12).tolist()) == [0.0] * 12 + [0.75] * 24
    np.testing.assert_allclose(np.sort(np.abs(points[20:]), axis=1), np.tile([0.0, 0.0, 1.0], (6, 1)), atol=1e-15)


def test_what_stays_the_same_whatever_the_level():
    """Euler's formula holds, every face keeps four corners and its side, a flat sheet stays flat, weights sum to 1."""
    quads, points = SIDES, CUBE
    for _ in range(3):
        level = refined(quads, len(points))
        np.testing.assert_allclose(level.matrix.sum(axis=1), 1.0)
        quads, points = needed_quads(level.quads, level.matrix.shape[0]), level.matrix @ points
        edges, _, sides = edges_of(quads)
        assert len(points) - len(edges) + len(quads) == 2
        assert (sides == 2).all()
        assert (np.einsum("mi,mi->m", facing_of(points, quads), points[quads].mean(axis=1)) > 0).all()
    assert len(quads) == 6 * 4**3


def test_a_rim_becomes_the_spline_through_its_own_vertices():
    """The cubic B-spline's rule: old vertices take 1/8, 6/8, 1/8, new ones the middle (Lane and Riesenfeld 1980)."""
    open_box = SIDES[1:]
    level = refined(open_box, 8)
    points = level.matrix @ CUBE
    np.testing.assert_allclose(points[0], (6 * CUBE[0] + CUBE[1] + CUBE[2]) / 8)
    rim = rims_of(open_box)
    assert len(rim) == 1
    fine = refined_line(rim[0], level, 8)
    assert set(fine.tolist()) == set(rims_of(level.quads)[0].tolist())
    np.testing.assert_allclose(points[fine[1::2]], (CUBE[rim[0]] + CUBE[np.roll(rim[0], -1)]) / 2)


def test_angles_and_normals_of_a_cube():
    np.testing.assert_allclose(np.degrees(corner_angles(CUBE, SIDES)), 90.0)
    np.testing.assert_allclose(quad_normals(CUBE, SIDES), CUBE / np.sqrt(3))
    corners = CUBE[as_triangles(CUBE, SIDES)]
    volume = np.einsum("ti,ti->t", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])).sum() / 6
    assert volume == pytest.approx(8.0)


@pytest.mark.parametrize(
    ("faces", "words"),
    [
        (np.array([[0, 1, 2]]), "four corners"),
        (np.array([[0, 1, 2, 9]]), "vertex 9"),
        (np.array([[0, 1, 1, 2]]), "twice"),
        (np.vstack([SIDES, SIDES[:1]]), "same way"),
    ],
)
def test_what_is_no_surface_of_quads_is_refused(faces, words):
    with pytest.raises(BadMesh, match=words):
        needed_quads(faces, 8)
