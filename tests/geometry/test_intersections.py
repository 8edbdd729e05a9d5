"""Faces through each other: planted ones found, touching ones not; boxes against every pair tried."""

import numpy as np
import pytest
from canthus.geometry.mending.boxes import overlapping
from canthus.geometry.mending.intersections import self_intersections
from canthus.geometry.mesh import Mesh
from canthus.geometry.solids.primitives import box, icosphere, sphere


def together(*meshes):
    starts = np.cumsum([0, *(len(mesh.vertices) for mesh in meshes)])
    return Mesh(
        np.concatenate([mesh.vertices for mesh in meshes]),
        np.concatenate([mesh.triangles + start for mesh, start in zip(meshes, starts, strict=False)]),
    )


@pytest.mark.parametrize("count", [2, 3, 17, 200])
def test_overlapping_boxes_are_those_found_by_trying_every_pair(count):
    chance = np.random.default_rng(count)
    low = chance.random((count, 3))
    high = low + chance.random((count, 3)) * 0.3
    meet = (low[:, None] <= high[None]).all(axis=2) & (low[None] <= high[:, None]).all(axis=2)
    expected = {(i, j) for i, j in np.argwhere(meet) if i < j}
    found = overlapping(low, high)
    assert {tuple(pair) for pair in found.tolist()} == expected
    assert len(found) == len(expected)


def test_a_clean_ball_has_none():
    assert len(self_intersections(sphere(10, sag=0.005))) == 0
    assert len(self_intersections(box((0, 0, 0), (1, 1, 1)))) == 0


def test_two_balls_cut_each_other_along_their_circle():
    one, other = sphere(5, sag=0.005), sphere(5, (6, 0, 0), sag=0.005)
    both = together(one, other)
    pairs = self_intersections(both)
    assert len(pairs) > 50
    assert ((pairs[:, 0] < len(one.triangles)) & (pairs[:, 1] >= len(one.triangles))).all()
    middles = both.corners[pairs.ravel()].mean(axis=1)
    np.testing.assert_allclose(middles[:, 0], 3, atol=0.4)  # the circle of radius 4 half-way between them
    np.testing.assert_allclose(np.hypot(middles[:, 1], middles[:, 2]), 4, atol=0.4)


def test_a_vertex_pushed_through_the_far_side_is_found():
    ball = icosphere(3)
    vertices = ball.vertices.copy()
    vertices[7] *= -1.3
    pairs = self_intersections(Mesh(vertices, ball.triangles))
    assert len(pairs) > 0
    fan = np.flatnonzero((ball.triangles == 7).any(axis=1))
    assert np.isin(pairs, fan).any(axis=1).all()
