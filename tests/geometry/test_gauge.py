"""The gauge measures what it says."""

import numpy as np
import pytest
from canthus.geometry.measures import components, genus, is_watertight, volume
from canthus.geometry.solids.booleans import intersection
from canthus.geometry.solids.gauge import CLEARANCES, gauge
from canthus.geometry.solids.sections import plane, section

PARTS = gauge(5.0)


def test_both_parts_are_closed_and_stand_apart():
    for part in PARTS.values():
        assert is_watertight(part)
        assert components(part).max() == 0
        assert part.vertices[:, 2].min() == pytest.approx(0)
    assert genus(PARTS["gauge-plate"]) == len(CLEARANCES)
    assert volume(intersection(*PARTS.values())) == 0


def test_holes_and_pegs_are_as_wide_as_told():
    """Within 0.01 mm, across every hole and step; the plate is a whole number of millimetres long."""
    plate, *holes = section(PARTS["gauge-plate"], plane((0, 0, 1.5), (0, 0, 1)))
    assert np.ptp(plate.points[:, 0]) == pytest.approx(round(np.ptp(plate.points[:, 0])))
    widths = [np.ptp(hole.points[:, 0]) for hole in sorted(holes, key=lambda hole: hole.centroid[0])]
    np.testing.assert_allclose(widths, np.add(5.0, CLEARANCES), atol=0.01)
    for height, width in ((3.0, 6.0), (7.0, 5.0), (11.0, 4.0)):
        (outline,) = section(PARTS["gauge-peg"], plane((0, 0, height), (0, 0, 1)))
        assert np.ptp(outline.points[:, 0]) == pytest.approx(width, abs=0.01)
