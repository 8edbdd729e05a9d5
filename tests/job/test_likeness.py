import numpy as np
import pytest
from canthus.geometry.cloud import Cloud
from canthus.geometry.solids.primitives import icosphere
from canthus.job.likeness import MOST_POINTS, likeness
from canthus.steps.workpiece import Workpiece


def test_the_scan_is_judged_at_life_size():
    """A scan a millimetre outside a ball of 60, both at half size: one millimetre, not half."""
    skin = icosphere(5, 60.0)
    scan = Cloud(icosphere(4, 61.0).vertices)
    half = np.diag([0.5, 0.5, 0.5, 1.0])
    figures = likeness(Workpiece(scan=scan, skin=skin).moved(half).but(scale=0.5))
    assert figures["mean_mm"] == pytest.approx(1.0, abs=0.02)  # the ball's facets lie up to 0.02 inside it
    assert figures["max_inside_mm"] == 0


def test_more_points_than_settle_it_are_thinned():
    points = np.random.default_rng(1).normal(size=(2 * MOST_POINTS + 5, 3))
    figures = likeness(Workpiece(scan=Cloud(points), skin=icosphere(1, 1.0)))
    assert 0.5 * MOST_POINTS < figures["points"] <= MOST_POINTS


def test_without_a_scan_or_a_skin_there_is_nothing_to_say():
    assert likeness(Workpiece(skin=icosphere(1, 1.0))) == {}
    assert likeness(Workpiece(scan=Cloud(np.zeros((3, 3))))) == {}
