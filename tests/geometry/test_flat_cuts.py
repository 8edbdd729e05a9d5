"""Flat cuts found by their area: a ball of a skull's size parted by a plane, and whole ones."""

import numpy as np
import pytest
from canthus.geometry.measures import triangle_areas
from canthus.geometry.mending.flat_cuts import cut_flat
from canthus.geometry.mesh import Mesh
from canthus.geometry.quad_meshes.splitting import split
from canthus.geometry.solids.booleans import split as parted
from canthus.geometry.solids.primitives import icosphere, sphere


@pytest.mark.parametrize("way", [(0, 0, 1), (0.1, -0.3, 0.9), (1, 1, -0.4)])
def test_a_cut_is_found_whole_whichever_way_it_faces(way):
    """Through a ball of radius 80, 30 mm off its middle: pi (80^2 - 30^2) = 17,279 mm2."""
    unit = np.array(way) / np.linalg.norm(way)
    _, below = parted(sphere(80.0, (5, 5, 5), sag=0.05), np.array([5, 5, 5]) + 30 * unit, unit)
    ball, _ = split(below, 6.0)
    rough = Mesh(ball.vertices + np.random.default_rng(3).normal(0, 0.15, ball.vertices.shape), ball.triangles)
    cut = cut_flat(rough)
    area = triangle_areas(rough)[cut[rough.triangles].all(axis=1)].sum()
    assert area == pytest.approx(np.pi * (80**2 - 30**2), rel=0.05)
    assert np.abs((rough.vertices[cut] - [5, 5, 5]) @ unit - 30).max() < 2.5


def test_round_things_have_none():
    ball = icosphere(5, 1.0)
    for axes in ((80, 80, 80), (75, 95, 115), (140, 90, 110)):
        assert not cut_flat(Mesh(ball.vertices * np.array(axes, float), ball.triangles)).any()


def test_a_cut_with_something_beyond_it_is_none():
    """A ledge within the body is no place where the scan ends."""
    _, below = parted(sphere(80.0, sag=0.1), (0, 0, 30), (0, 0, 1))
    knob = sphere(20.0, (0, 0, 40), sag=0.1)
    from canthus.geometry.solids.booleans import union

    assert not cut_flat(split(union(below, knob), 6.0)[0]).any()
