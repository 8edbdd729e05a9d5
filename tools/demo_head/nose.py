"""The nose: bridge, tip, wings, nostrils and the little column between them."""

from functools import cache

import numpy as np

from .loft import Loft, Outline
from .shapes import Field, Points, bump, ellipsoid, step, turned, union, without

# Half outlines of the nose at rising levels, (across, forward); their back end is buried in the face.
# fmt: off
OUTLINES: dict[float, Outline] = {
    -32: [(0, 101.5), (5, 99.8), (9, 95), (11, 91), (10, 84), (0, 70)],
    -30.2: [(0, 109), (3.6, 107.3), (8, 102.5), (11.6, 98.8), (13.2, 95), (12, 89), (0, 68)],
    -28.4: [(0, 114.8), (4.2, 113.5), (8.4, 108.2), (12, 104.2), (15, 100), (15.8, 96), (14, 89), (0, 66)],
    -26: [(0, 118.3), (4.6, 116.9), (8.4, 112.2), (11.3, 107.8), (14.6, 104.2), (16.9, 100.3), (17.2, 96.2),
        (15, 88), (0, 66)],
    -22.5: [(0, 120), (4.9, 118.5), (8.5, 113.6), (10.9, 108.9), (14.3, 104.8), (17.3, 100.2), (17.6, 96), (15, 87),
        (0, 66)],
    -18.5: [(0, 119.3), (4.7, 117.8), (8, 112.8), (10.2, 108), (13.3, 103.4), (16.4, 98.8), (17, 94.5), (14.5, 86),
        (0, 66)],
    -12.5: [(0, 114.8), (4.1, 113.3), (7.2, 108.6), (9.5, 104), (12, 99.6), (14.6, 95.2), (15.4, 90.6), (14, 84),
        (0, 66)],
    -5: [(0, 108), (3.4, 106.8), (6.4, 102.8), (9.2, 98), (12.2, 93.2), (14.4, 88.6), (14, 83), (0, 66)],
    4: [(0, 101.5), (3.5, 100.3), (6.6, 96.3), (9.4, 91.4), (12.2, 86.4), (13.8, 81.6), (12.5, 76), (0, 66)],
    13: [(0, 95), (3.6, 93.8), (6.6, 90.1), (9.2, 85.4), (11.6, 80.8), (13, 77), (12, 72), (0, 66)],
    20: [(0, 91.2), (4.2, 90), (7.2, 86.8), (9.8, 83.2), (12.2, 79.6), (13.5, 76), (12, 71), (0, 66)],
    26: [(0, 90.8), (5, 89.9), (9, 87.2), (12, 84), (14.2, 80), (15, 76), (12, 70), (0, 66)],
    33: [(0, 92.2), (6, 91.4), (10, 89), (12.5, 85.5), (13, 80), (10, 72), (0, 66)],
    40: [(0, 91), (5, 90), (8, 87), (9, 82), (8, 74), (0, 67)],
}
# fmt: on


@cache
def _loft() -> Loft:
    return Loft(OUTLINES, forward=78.0, ends=(-34.0, 46.0), softness=(1.1, 3.5))


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
    # The rim of the wing arches between its base and the column, so the nostril shows from in front.
    arch = 1.1 * bump(across - 9.0, 2.4) * step(up, -24, -28.5) * step(forward, 98, 101) * step(forward, 115, 110)
    nostril = ellipsoid(side, (7.2, 105.4, -29.6), (2.9, 6.2, 5.4), turned("up", 27) @ turned("across", 8))
    return without(form + arch.astype(np.float32), nostril, 1.8)
