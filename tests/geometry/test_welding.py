"""Equal corners made one vertex."""

import numpy as np
import pytest
from canthus.geometry.measures import is_watertight
from canthus.geometry.mending import welding
from canthus.geometry.mending.welding import distinct, welded
from canthus.geometry.mesh import Mesh
from canthus.geometry.solids.primitives import icosphere


@pytest.mark.parametrize("kind", [np.float32, np.float64])
def test_the_same_places_as_sorting_rows(kind):
    """numpy.unique over rows is the reference."""
    rng = np.random.default_rng(0)
    points = rng.integers(-4, 5, (3000, 3)).astype(kind) / 3
    firsts, which = distinct(points)
    np.testing.assert_array_equal(points[firsts][which], points)
    assert len(firsts) == len(np.unique(points, axis=0))
    assert (np.diff(firsts) > 0).all()
    assert all((points[: firsts[place]] != points[firsts[place]]).any(axis=1).all() for place in (0, 10, -1))


def test_both_zeros_are_one_place_and_nothing_is_nothing():
    firsts, which = distinct(np.array([[0.0, -0.0, 1.0], [-0.0, 0.0, 1.0]]))
    assert len(firsts) == 1
    assert which.tolist() == [0, 0]
    assert len(distinct(np.zeros((0, 3)))[0]) == 0


def test_places_whose_mixes_collide_are_told_apart(monkeypatch):
    """With a mix that is the same for all, everything rests on the second look."""
    monkeypatch.setattr(welding, "_mixed", lambda points: np.zeros(len(points), np.uint64))
    points = np.random.default_rng(1).integers(0, 3, (200, 3)).astype(float)
    firsts, which = distinct(points)
    np.testing.assert_array_equal(points[firsts][which], points)
    assert len(firsts) == len(np.unique(points, axis=0))


def test_a_soup_of_triangles_becomes_the_closed_mesh_it_was():
    ball = icosphere(3, 12.0)
    soup = Mesh(ball.corners.reshape(-1, 3), np.arange(3 * len(ball.triangles)).reshape(-1, 3))
    assert not is_watertight(soup)
    mesh = welded(soup)
    assert is_watertight(mesh)
    assert len(mesh.vertices) == len(ball.vertices)
