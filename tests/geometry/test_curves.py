"""Closed curves against circles and squares, and the ring search against a path known by heart."""

import numpy as np
import pytest
from canthus.geometry.curves import best_ring, depth_inside, inside, length, resampled
from canthus.geometry.errors import NotPossible

SQUARE = np.array([[0.0, 0.0], [4.0, 0.0], [4.0, 4.0], [0.0, 4.0]])


def test_lengths_and_equal_steps():
    angles = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    circle = np.column_stack([3 * np.cos(angles), 3 * np.sin(angles), np.zeros(400)])
    assert length(circle) == pytest.approx(6 * np.pi, rel=1e-4)
    steps = np.linalg.norm(np.diff(resampled(circle, 37), axis=0), axis=1)
    assert np.ptp(steps) < 1e-3
    with pytest.raises(NotPossible):
        resampled(np.ones((3, 2)), 5)


def test_inside_and_depth_of_a_square():
    points = np.array([[2.0, 2.0], [0.5, 2.0], [5.0, 2.0], [2.0, -1.0], [3.9, 3.9]])
    assert inside(points, SQUARE).tolist() == [True, True, False, False, True]
    np.testing.assert_allclose(depth_inside(points, SQUARE), [2.0, 0.5, -1.0, -1.0, 0.1], atol=1e-3)


def test_ring_follows_the_cheap_valley_over_a_gap():
    spokes, positions = 60, np.arange(40)
    wanted = np.rint(20 + 6 * np.sin(2 * np.pi * np.arange(spokes) / spokes)).astype(int)
    costs = np.abs(positions[None] - wanted[:, None]).astype(float)
    costs[25:28] = 0.0  # nothing is known on three spokes
    costs[40, 5] = -3.0  # and one wrong spot lures
    ring = best_ring(costs, bend=0.5, reach=3)
    assert np.abs(ring - wanted).max() <= 2
    assert abs(ring[0] - ring[-1]) <= 3
    costs[10] = np.inf
    with pytest.raises(NotPossible):
        best_ring(costs, bend=0.5, reach=3)
