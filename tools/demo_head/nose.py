"""The nose: bridge, tip, wings, nostrils and the little column between them."""

import numpy as np

from .shapes import Field, Points, bump, ellipsoid, line_through, step, turned, union, within, without

TIP = (0.0, 119.0, -19.5)
BASE = (0.0, 103.0, -30.0)

_bridge = line_through([-30, -24, -19, -13, -5, 5, 13, 21, 28, 36, 44], [117, 117.8, 117.0, 113.6, 107.6, 100.4, 94.6, 90.2, 90.6, 93.0, 92])
_half_width = line_through([-30, -20, -12, -4, 6, 14, 21, 30, 40], [5.5, 5.0, 4.2, 4.2, 4.6, 4.0, 4.4, 7.5, 12])
_fall = line_through([-30, -20, -10, 0, 10, 18, 25, 32], [2.1, 2.0, 1.8, 1.75, 1.85, 1.85, 1.45, 0.9])


def _ridge(points: Points) -> Field:
    """Bridge and side planes: a roof whose ridge is the profile of the nose."""
    across, forward, up = points.T
    width, fall = _half_width(up), _fall(up)
    drop = fall * (np.sqrt(across**2 + width**2) - width)
    lean = np.abs(_bridge(up + 0.5) - _bridge(up - 0.5))
    slope = np.sqrt(1 + (fall * across) ** 2 / (across**2 + width**2) + lean**2)
    return ((forward - _bridge(up) + drop) / slope).astype(np.float32)


def nose(points: Points, skin: Field) -> Field:
    """`skin` with the nose on it."""
    across, forward, up = points.T
    side = points.copy()
    side[:, 0] = np.abs(across)
    roof = _ridge(points)
    # The underside runs from the tip back and down to the lip; the nasolabial angle is about 100 degrees.
    under = (-(up + 27.3) + 0.16 * (forward - 112)) / 1.013
    roof = within(roof, under.astype(np.float32), 6.0)
    roof = within(roof, (up - 40).astype(np.float32), 12.0)
    roof = within(roof, (72 - forward).astype(np.float32), 4.0)
    skin = union(skin, roof, 5.0)
    tip = ellipsoid(side, (2.6, 111.2, -19.6), (6.6, 8.0, 6.4), turned("across", -10))
    skin = union(skin, tip, 5.0)
    column = ellipsoid(side, (0, 107.5, -26.5), (3.2, 8.5, 3.6), turned("across", 14))
    skin = union(skin, column, 3.0)
    wing = ellipsoid(side, (12.0, 101.5, -22.0), (5.2, 10.0, 7.0), turned("up", -20) @ turned("across", -16))
    skin = union(skin, wing, 2.6)
    # The groove behind and over the wing, and the soft facet between wing and tip.
    groove = np.abs(wing - 0.9) * 0 + 1.0 * bump(wing - 1.6, 1.1) * bump(side[:, 0] - 16.0, 3.0) * step(forward, 106, 100)
    skin = skin + groove.astype(np.float32)
    nostril = ellipsoid(side, (6.0, 105.8, -29.2), (2.7, 6.2, 4.6), turned("up", 22) @ turned("across", 12))
    return without(skin, nostril, 1.6)
