"""Deviations told by medians."""

import numpy as np
import pytest
from canthus.geometry.robust import BY_THE_MEDIAN, robust_deviation
from scipy import stats


def test_the_factor_is_scipys():
    assert pytest.approx(stats.norm.ppf(0.75) ** -1, abs=5e-6) == BY_THE_MEDIAN


def test_a_deviation_is_scipys_and_wild_values_hardly_count():
    off = np.random.default_rng(8).normal(0.0, 0.3, 20_001)
    off -= np.median(off)
    assert robust_deviation(off) == pytest.approx(stats.median_abs_deviation(off, scale="normal"), rel=1e-5)
    off[::50] = 1e6
    assert robust_deviation(off) == pytest.approx(0.3, rel=0.05)
    assert off.std() > 1e5
