"""Splitting keeps the surface: the same volume and area, closed, every edge short."""

import numpy as np
import pytest
from canthus.geometry.measures import area, is_watertight, volume
from canthus.geometry.mesh import Mesh
from canthus.geometry.quad_meshes.splitting import halved, split
from canthus.geometry.solids.primitives import box, icosphere


def longest(mesh):
    return np.linalg.norm(mesh.corners - np.roll(mesh.corners, 1, axis=1), axis=2).max()


@pytest.mark.parametrize("mesh", [icosphere(2, 20.0), box((0, 0, 0), (20, 7, 3))])
def test_only_the_edges_change(mesh):
    found, done = split(mesh, 1.5)
    assert done
    assert longest(found) <= 1.5
    assert is_watertight(found)
    assert volume(found) == pytest.approx(volume(mesh), rel=1e-12)
    assert area(found) == pytest.approx(area(mesh), rel=1e-12)


def test_only_where_it_is_asked_for():
    ball = icosphere(3, 20.0)
    ball = Mesh(ball.vertices, ball.triangles, None, {"side": np.sign(ball.vertices[:, 0]).astype(np.int8)})
    found, _ = split(ball, np.where(ball.vertices[:, 0] > 0, 1.0, np.inf))
    assert is_watertight(found)
    assert (found.vertices[:, 0] < -4).sum() == (ball.vertices[:, 0] < -4).sum()
    assert (found.vertices[:, 0] > 4).sum() > 4 * (ball.vertices[:, 0] > 4).sum()
    assert len(found.columns["side"]) == len(found.vertices)


def test_it_stops_at_the_most():
    found, done = split(icosphere(2, 20.0), 0.01, most=5000)
    assert not done
    assert len(found.triangles) <= 5000


def test_faces_are_halved_once_and_a_mark_is_kept_between_two_that_have_it():
    """All faces of a ball: four times as many; one face: itself in four, its three neighbours in two."""
    ball = icosphere(2, 20.0)
    upper = ball.vertices[:, 2] > 0
    ball = Mesh(ball.vertices, ball.triangles, None, {"upper": upper})
    everywhere = halved(ball, np.arange(len(ball.triangles)))
    assert len(everywhere.triangles) == 4 * len(ball.triangles)
    assert is_watertight(everywhere)
    new = everywhere.vertices[len(ball.vertices) :]
    assert (new[everywhere.columns["upper"][len(ball.vertices) :]][:, 2] > 0).all()
    assert len(halved(ball, np.array([7])).triangles) == len(ball.triangles) + 3 + 3
