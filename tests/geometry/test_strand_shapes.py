"""Distortion of a mesh against singular values that are known."""

import numpy as np
import pytest
from canthus.geometry.refitting.strand_shapes import distortion
from canthus.geometry.solids.primitives import icosphere
from canthus.geometry.transforms import rotation


def sheet(count=20):
    x, y = np.meshgrid(np.arange(count, dtype=float), np.arange(count, dtype=float))
    number = np.arange(count * count).reshape(count, count)
    a, b, c, d = (number[i : count - 1 + i, j : count - 1 + j].ravel() for i, j in ((0, 0), (0, 1), (1, 1), (1, 0)))
    triangles = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])]).astype(np.int32)
    return np.column_stack([x.ravel(), y.ravel(), 0 * x.ravel()]), triangles


def test_a_turn_is_no_distortion():
    ball = icosphere(3)
    found = distortion(ball.vertices, ball.vertices @ rotation((1, 1, 0), 2.0).T + 5.0, ball.triangles)
    assert max(abs(found.middle), found.most, found.shear, found.worst) < 1e-9


def test_lengths_of_an_even_scale():
    ball = icosphere(3)
    found = distortion(ball.vertices, 1.03 * ball.vertices, ball.triangles)
    assert found.middle == pytest.approx(0.03)
    assert found.worst == pytest.approx(0.03)
    assert found.shear == pytest.approx(0.0, abs=1e-9)


def test_shear_is_the_ratio_of_the_maps_singular_values():
    """numpy's singular values of the map itself are the reference; it is laid aslant in space first."""
    vertices, triangles = sheet()
    aslant = rotation((0.2, 1.0, 0.3), 0.9)
    shear = np.array([[1.0, 0.3, 0.0], [0.0, 1.1, 0.0], [0.0, 0.0, 1.0]])
    after = vertices @ shear.T @ aslant.T
    long, wide = np.linalg.svd(shear[:2, :2], compute_uv=False)
    assert distortion(vertices, after, triangles).shear == pytest.approx(long / wide - 1, rel=1e-9)


def test_only_some_vertices_count():
    vertices, triangles = sheet()
    after = np.where((vertices[:, 0] > 10)[:, None], 2 * vertices, vertices)
    assert distortion(vertices, after, triangles, vertices[:, 0] <= 10).worst == pytest.approx(0.0)
    assert distortion(vertices, after, triangles, np.zeros(len(vertices), bool)).worst == 0.0
