"""The hair."""

import numpy as np

from .shapes import Field, Points, step


def grown_on(skin: Field, points: Points) -> Field:
    """`skin` with the mass of hair on it."""
    across, forward, up = points.T
    line = step(up - 0.55 * np.maximum(forward - 10, 0), 22, 40) * step(forward, 90, 70)
    back = step(up + 0.6 * forward, -50, -35) * step(forward, -5, -25)
    return skin - (6.0 * np.maximum(line, back)).astype(np.float32)
