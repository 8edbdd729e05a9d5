"""The ears."""

import numpy as np

from .shapes import Field, Points, ellipsoid, turned, union


def set_on(skin: Field, points: Points) -> Field:
    """`skin` with both ears."""
    side = points.copy()
    side[:, 0] = np.abs(side[:, 0])
    shell = ellipsoid(side, (77, -12, 0), (5, 16, 31), turned("across", 12) @ turned("up", 22))
    tragus = ellipsoid(side, (69, 0.5, -4), (3, 3.5, 5))
    return union(union(skin, shell, 3.0), tragus, 2.0)
