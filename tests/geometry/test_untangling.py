"""Drawing crossing faces apart."""

import numpy as np
from canthus.geometry.measures import is_watertight
from canthus.geometry.mending.intersections import self_intersections
from canthus.geometry.mending.untangling import _turning, untangled
from canthus.geometry.mesh import Mesh
from canthus.geometry.solids.primitives import icosphere
from canthus.geometry.surfacing.isosurface import isosurface
from scipy.ndimage import gaussian_filter


def test_a_spike_pushed_through_the_far_side_is_drawn_back():
    ball = icosphere(4, 10.0)
    vertices = ball.vertices.copy()
    spike = int(np.argmax(vertices[:, 2]))
    vertices[spike] = [0.3, 0.2, -14.0]  # through the bottom of the ball and out again
    mesh, first, left = untangled(Mesh(vertices, ball.triangles))
    assert first > 0
    assert left == 0
    assert not len(self_intersections(mesh))
    assert is_watertight(mesh)
    still = (mesh.vertices == vertices).all(axis=1)
    assert still.mean() > 0.8  # only round the spike and where it came out


def test_a_sound_ball_keeps_every_vertex():
    ball = icosphere(3, 10.0)
    mesh, first, left = untangled(ball)
    assert (first, left) == (0, 0)
    assert np.array_equal(mesh.vertices, ball.vertices)


def test_no_vertex_moves_farther_than_it_may():
    ball = icosphere(4, 10.0)
    vertices = ball.vertices.copy()
    spike = int(np.argmax(vertices[:, 2]))
    vertices[spike] = [0.3, 0.2, -14.0]
    mesh, _, left = untangled(Mesh(vertices, ball.triangles), reach=0.5)
    assert 0.4 < np.linalg.norm(mesh.vertices - vertices, axis=1).max() <= 0.5 + 1e-9
    assert left > 0


def test_looking_where_the_surface_turns_finds_all_that_crosses():
    """A ball with a noisy side, so that a third of it is left out: the same as from a look at every pair."""
    axis = np.linspace(-1.2, 1.2, 72)
    x, y, z = np.meshgrid(axis, axis, axis, indexing="ij")
    noise = gaussian_filter(np.random.default_rng(1).standard_normal(x.shape), 0.8)
    mesh = isosurface(np.sqrt(x * x + y * y + z * z) - 1 + 0.5 * np.clip(x, 0, 1) * noise)
    turning = _turning(mesh)
    assert 0.2 < turning.mean() < 0.8
    everywhere = np.unique(self_intersections(mesh))
    assert len(everywhere) > 0
    assert np.isin(everywhere, np.flatnonzero(turning)).all()
