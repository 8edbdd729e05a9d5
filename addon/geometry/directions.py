"""Directions spread evenly over the sphere."""

import numpy as np
from numpy.typing import NDArray


def spread_directions(count: int) -> NDArray[np.float64]:
    """(count, 3) unit vectors spread evenly over the sphere, from the top down: a golden spiral."""
    turns, heights = np.arange(count) * np.pi * (3 - 5**0.5), 1 - (2 * np.arange(count) + 1) / count
    level = np.sqrt(1 - heights**2)
    return np.column_stack([level * np.cos(turns), level * np.sin(turns), heights])
