"""Shapes carried by a map and kept from being stretched: rigid maps as they are, a standing lock whole."""

import numpy as np
import pytest
from canthus.geometry.refitting.stiff_graph import stiffly_carried
from canthus.geometry.transforms import rotation


def lock():
    """A bar 60 mm long that stands on a patch 40 mm wide, as points; the patch is held."""
    rng = np.random.default_rng(3)
    patch = np.column_stack([rng.uniform(-20, 20, (1500, 2)), rng.uniform(-1, 0, 1500)])
    turn = rng.uniform(0, 2 * np.pi, 1500)
    bar = np.column_stack([4 * np.cos(turn), 4 * np.sin(turn), rng.uniform(0, 60, 1500)])
    return np.vstack([patch, bar]), np.repeat([1.0, 0.0], 1500)


def drawn_out(points):
    """30 % longer upward, 10 % wider to the side: what no lock of hair should undergo."""
    return points * (1.1, 1.0, 1.3)


@pytest.mark.parametrize("hold", [0.0, 0.5, 1.0])
def test_a_rigid_map_comes_through_exactly(hold):
    """A turn and a shift stretch nothing, so that there is nothing to hold against."""
    points, held = lock()
    turn = rotation((1.0, 2.0, 0.5), 0.7)
    carried = stiffly_carried(points, held, lambda places: places @ turn.T + (3.0, -8.0, 5.0), 5.0, hold)
    np.testing.assert_allclose(carried, points @ turn.T + (3.0, -8.0, 5.0), atol=1e-6)


def test_without_hold_the_map_itself_is_followed():
    points, held = lock()
    np.testing.assert_allclose(stiffly_carried(points, held, drawn_out, 5.0, 0.0), drawn_out(points), atol=1e-12)


def length(points):
    """Length of the bar's free end: between the means of two of its rings."""
    low, high = (points[1500:][np.abs(lock()[0][1500:, 2] - at) < 2] for at in (25, 55))
    return np.linalg.norm(high.mean(axis=0) - low.mean(axis=0))


def test_a_standing_lock_keeps_its_length_as_far_as_it_is_held():
    """The map makes 30 mm of it 39; fully held it stays 30, and the patch below follows the map."""
    points, held = lock()
    assert length(drawn_out(points)) == pytest.approx(1.3 * length(points), rel=1e-3)
    lengths = [length(stiffly_carried(points, held, drawn_out, 5.0, hold)) for hold in (0.25, 0.5, 1.0)]
    assert lengths[0] > lengths[1] > lengths[2]
    assert lengths[2] == pytest.approx(length(points), rel=2e-3)
    carried = stiffly_carried(points, held, drawn_out, 5.0, 1.0)
    flat = np.linalg.norm(points[:, :2], axis=1) > 10  # away from the lock's foot
    assert np.linalg.norm((carried - drawn_out(points))[flat], axis=1).max() < 0.6
