"""Deviations told by medians, so that a few wild values change nothing."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

BY_THE_MEDIAN = 1.4826
"""Standard deviation of Gaussian values over the median of their distances from the middle: 1 over the upper quartile
of the standard normal distribution (Rousseeuw and Croux 1993, doi 10.1080/01621459.1993.10476408)."""


def robust_deviation(off: NDArray[np.floating[Any]]) -> float:
    """Standard deviation of values, told by the median size of how far they are `off` their middle, an array."""
    return BY_THE_MEDIAN * float(np.median(np.abs(off)))
