"""Front and back of the demo head as two passes: each resembles the other's wrong side more than it shares a rim."""

import numpy as np
import pytest
from canthus.geometry.clouds.registration import registered
from canthus.geometry.distances.sampling import spread_over
from canthus.geometry.transforms import applied
from scipy.spatial.transform import Rotation


@pytest.mark.parametrize(("turn", "shift"), [(0, (0, 0, 0)), (4, (3, -2, 1))])
def test_front_and_back_meet_at_their_rims(head, turn, shift):
    """Known moves taken back: 0.05 mm on points a millimetre and more apart."""
    points = spread_over(head.mesh, 1.0).points
    some = np.random.default_rng(0).random(len(points)) < 0.5
    front, back = points[some & (points[:, 1] < 30)], points[~some & (points[:, 1] > -30)]
    away = np.eye(4)
    away[:3, :3] = Rotation.from_euler("z", turn, degrees=True).as_matrix()
    away[:3, 3] = shift
    moved = applied(away, back)
    fits = registered([front, moved])
    assert np.linalg.norm(applied(fits[1].matrix, moved) - back, axis=1).max() < 0.05
