"""The nose: bridge, tip, wings, nostrils and the little column between them."""

from functools import cache

import numpy as np

from .loft import Loft, Outline
from .shapes import Field, Points, bump, ellipsoid, step, turned, union, without

# Half outlines of the nose at rising levels, (across, forward); their back end is buried in the face.
OUTLINES: dict[float, Outline] = {
    -31.5: [(0, 98), (6, 97), (11, 95), (13, 91), (11, 84), (0, 70)],
    -29.8: [(0, 107), (4, 105.5), (9.5, 103), (14, 99.5), (16, 95.5), (14, 89), (0, 68)],
    -28.0: [(0, 114.6), (4.5, 113.2), (9, 109), (13, 105), (16.6, 100.8), (17.2, 96.5), (15, 89), (0, 66)],
    -25.5: [
        (0, 117.6),
        (4.6, 116.4),
        (8.4, 112.8),
        (11.2, 108.4),
        (14.6, 105),
        (17.2, 100.8),
        (17.5, 96.5),
        (15, 88),
        (0, 66),
    ],
    -21.0: [
        (0, 119.0),
        (4.7, 117.8),
        (8.3, 113.8),
        (10.6, 109.2),
        (14.0, 104.8),
        (16.9, 100.2),
        (17.2, 96),
        (15, 87),
        (0, 66),
    ],
    -17.0: [
        (0, 117.6),
        (4.5, 116.2),
        (7.8, 112.2),
        (10.0, 107.6),
        (13.0, 103.2),
        (15.8, 98.8),
        (16.4, 94.5),
        (14.5, 86),
        (0, 66),
    ],
    -12.0: [
        (0, 113.8),
        (4.0, 112.4),
        (7.0, 108.4),
        (9.2, 104),
        (11.8, 99.6),
        (14.2, 95.4),
        (15, 91),
        (14, 84),
        (0, 66),
    ],
    -5.0: [(0, 108.0), (3.7, 106.7), (6.5, 102.8), (9.0, 98.2), (11.8, 93.6), (13.8, 89.4), (14, 83), (0, 66)],
    4.0: [(0, 101.3), (3.9, 100.1), (6.7, 96.4), (9.2, 91.6), (11.8, 86.8), (13.4, 82), (12.5, 76), (0, 66)],
    13.0: [(0, 95.0), (3.9, 93.8), (6.6, 90.2), (9.0, 85.6), (11.4, 81), (13, 77), (12, 72), (0, 66)],
    20.0: [(0, 91.2), (4.2, 90.0), (7.2, 86.8), (9.8, 83.2), (12.2, 79.6), (13.5, 76), (12, 71), (0, 66)],
    26.0: [(0, 90.8), (5.0, 89.9), (9.0, 87.2), (12.0, 84.0), (14.2, 80), (15, 76), (12, 70), (0, 66)],
    33.0: [(0, 92.2), (6.0, 91.4), (10, 89.0), (12.5, 85.5), (13, 80), (10, 72), (0, 66)],
    40.0: [(0, 91.0), (5.0, 90.0), (8, 87.0), (9, 82), (8, 74), (0, 67)],
}


@cache
def _loft() -> Loft:
    return Loft(OUTLINES, forward=78.0, ends=(-34.0, 46.0), softness=(1.1, 2.0))


def nose(points: Points, skin: Field) -> Field:
    """`skin` with the nose on it."""
    near = np.flatnonzero((np.abs(points[:, 0]) < 32) & (points[:, 1] > 60) & (np.abs(points[:, 2] - 3) < 52))
    skin = skin.copy()
    skin[near] = _modelled(points[near], skin[near])
    return skin


def _modelled(points: Points, skin: Field) -> Field:
    side = points.copy()
    side[:, 0] = np.abs(side[:, 0])
    across, forward, up = side.T
    form = _loft()(points)
    # Crisp where the wing meets the cheek, melting along the sides of the bridge.
    form = union(skin, form, (2.0 + 5.0 * step(up, -22, 2) + 6.0 * step(up, 12, 26)).astype(np.float32))
    # The crease that parts the wing from tip and side wall.
    crease = np.hypot(across - 11.6, (up + 22.5) * 1.0) - 6.6
    turn = step(across - 0.35 * (up + 20), 13.0, 9.5) * step(up, -13, -18)
    above = step(up, -24, -19) * step(across, 10.5, 13.5)
    form = form + (0.55 * bump(crease, 1.2) * np.maximum(above, 0.7 * turn) * step(forward, 90, 94)).astype(np.float32)
    nostril = ellipsoid(side, (7.0, 105.6, -30.0), (2.7, 6.4, 4.6), turned("up", 27) @ turned("across", 8))
    return without(form, nostril, 2.0)
