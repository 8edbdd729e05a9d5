"""The eye's dimensions against the published and computed ones of reference_values.md, sections 1, 3 and 4."""

import numpy as np
import pytest
from canthus.anatomy.eyes.dimensions import GLOBE_WIDTH
from canthus.anatomy.eyes.eye import STOCK_SERIES, EyeShape, nearest_stock, stock_series
from canthus.geometry.errors import BadSetting


def test_two_sphere_eye_as_computed_from_the_published_model():
    """El Hage and Le Grand 1980: R 12, R 8, centres 5 apart; what follows from it is COMPUTED in section 1."""
    eye = EyeShape(24.0)
    assert 2 * eye.limbus == pytest.approx(11.619, abs=5e-4)
    assert eye.limbus_ahead == pytest.approx(10.5)
    assert eye.apex - eye.limbus_ahead == pytest.approx(2.5)
    assert eye.apex - eye.sclera == pytest.approx(1.0)
    assert eye.apex + eye.sclera == pytest.approx(25.0)
    assert 2 * eye.limbus / eye.diameter == pytest.approx(11.71 / 24.2, abs=0.001)  # iris to globe, section 1


def test_reach_is_the_surface_of_both_spheres():
    eye = EyeShape(24.0)
    angles = np.radians([0.0, 20.0, 40.0, 120.0, 180.0])
    ways = np.column_stack([np.sin(angles), np.cos(angles)]) * eye.reach(np.cos(angles), 0.3)[:, None]
    from_cornea = np.hypot(ways[:, 0], ways[:, 1] - 5)
    np.testing.assert_allclose(from_cornea[:2], 8.3)
    np.testing.assert_allclose(np.hypot(*ways[2:].T), 12.3)


def test_profile_lies_on_the_spheres():
    outline = EyeShape(24.0).profile(0.001)
    ahead = outline[:, 1] > 10.5 + 1e-9
    np.testing.assert_allclose(np.hypot(outline[~ahead, 0], outline[~ahead, 1]), 12.0)
    np.testing.assert_allclose(np.hypot(outline[ahead, 0], outline[ahead, 1] - 5), 8.0)
    assert outline[[0, -1], 0].tolist() == [0.0, 0.0]
    middles = (outline[1:] + outline[:-1]) / 2
    assert (12 - np.hypot(*middles[middles[:, 1] < 10].T)).max() <= 0.00101


@pytest.mark.parametrize(("scale", "size"), [(1 / 12, 2), (1 / 6, 4), (1 / 4, 6), (1 / 3, 8), (1 / 2, 12), (1, 24)])
def test_nearest_stock_as_tabled(scale, size):
    assert nearest_stock(GLOBE_WIDTH * scale) == size


def test_series_can_be_edited_and_is_checked():
    assert stock_series("") == STOCK_SERIES
    assert stock_series("6, 3.5 5") == (3.5, 5.0, 6.0)
    with pytest.raises(BadSetting, match="'big'"):
        stock_series("4, big")
    with pytest.raises(BadSetting, match="'-4'"):
        stock_series("-4")
