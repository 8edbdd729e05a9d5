"""The mass of the head, without features: half outlines at rising levels, lofted into one form; and the neck."""

from functools import cache

import numpy as np

from .loft import Loft, Outline
from .shapes import Field, Points, bump, line_through, step, union, within

# Half outlines, front to back, as (across, forward) of the skin at a level (mm above the Frankfurt plane, forward
# of the tragion). The midline depths follow the true-vertical norms named in proportions.py.
# fmt: off
OUTLINES: dict[float, Outline] = {
    125: [(0, 18), (20, 12), (29, -2), (32, -14), (29, -27), (18, -38), (0, -43)],
    118: [(0, 38), (18, 34), (34, 20), (44, -2), (46, -18), (41, -36), (25, -53), (0, -60)],
    110: [(0, 54), (20, 50), (40, 34), (53, 6), (56.5, -16), (51, -40), (32, -63), (0, -73)],
    95: [(0, 73), (20, 70), (40, 56), (56, 28), (66, -2), (67.5, -20), (61, -48), (38, -75), (0, -88)],
    80: [(0, 84.5), (20, 82), (38, 71), (51, 54), (63, 28), (71, 0), (73.5, -20), (66, -52), (41, -81), (0, -95.5)],
    65: [(0, 91.5), (18, 89.5), (34, 81), (46, 67), (54, 52), (64, 28), (73, -2), (75.3, -20), (69, -52), (42, -84),
        (0, -99.5)],
    50: [(0, 94.5), (16, 92.8), (31, 86.5), (42, 77), (50, 64), (57, 50), (65, 28), (72, 5), (74.5, -18), (69, -50),
        (42, -83), (0, -100)],
    36: [(0, 95), (15, 94), (30, 90), (42, 82), (49, 71), (55, 56), (62, 36), (69, 10), (72.5, -15), (68, -48),
        (42, -80), (0, -99)],
    29: [(0, 90), (13, 86.5), (22, 85), (31, 84.3), (40, 79.5), (47.5, 71), (54, 58.5), (61, 39), (68, 13),
        (71.5, -14), (67, -47), (42, -78), (0, -97)],
    22: [(0, 84), (11, 81.5), (18, 79.8), (28, 79), (37, 76.5), (46, 69.5), (53, 58), (60, 40), (67, 15),
        (70.5, -12), (66, -46), (41, -76), (0, -95)],
    12: [(0, 84), (11, 79.5), (17, 77.7), (27, 79.6), (37, 77), (46, 69.5), (54, 59), (61, 42), (67, 18), (69.5, -8),
        (65, -44), (40, -72), (0, -91)],
    0: [(0, 92), (12, 86.5), (25, 84), (36, 80.3), (47, 71.3), (56, 59), (63.5, 43), (68, 22), (68.5, -2), (63, -42),
        (38, -68), (0, -86)],
    -12: [(0, 95), (12, 90), (25, 85.5), (36, 80.5), (47, 71.5), (56.5, 58), (63.5, 43), (67, 25), (66.5, -2),
        (60, -38), (36, -62), (0, -80)],
    -25: [(0, 99.5), (12, 95), (24, 88), (35, 80), (45, 70.5), (53.5, 57.5), (60, 42), (64, 24), (63, -2), (56, -34),
        (34, -56), (0, -73)],
    -38: [(0, 102), (11, 98.8), (22, 91), (32, 82), (41.5, 71.5), (49.5, 58), (55.5, 43), (59.5, 25), (59, 0),
        (50, -28), (30, -48), (0, -62)],
    -50: [(0, 101.3), (11, 98.3), (21, 91.5), (30.5, 82), (39, 71), (46.5, 57), (52.5, 41), (57, 24), (56, 3),
        (45, -20), (26, -36), (0, -46)],
    -62: [(0, 97.5), (11, 95.5), (20, 90), (29, 80), (37.5, 68), (44.5, 54), (50, 38), (53.5, 22), (50, 4),
        (38, -14), (20, -24), (0, -30)],
    -72: [(0, 97), (10, 95.5), (19, 90.5), (27.5, 80), (35.5, 66), (41.5, 51), (45.5, 36), (46, 20), (42, 6),
        (28, -8), (14, -14), (0, -16)],
    -82: [(0, 99.5), (9, 98.3), (17, 93.5), (24.5, 82.5), (31, 67), (34.5, 52), (35, 38), (33, 24), (27, 10),
        (18, -4), (0, -12)],
    -90: [(0, 97.5), (8, 96), (15, 90.5), (21, 79.5), (24.5, 66), (25, 52), (24, 40), (22, 28), (17, 10), (11, -3),
        (0, -9)],
    -96: [(0, 90), (7, 87.5), (12, 80), (15, 69), (16.5, 57), (16, 44), (15, 30), (13, 14), (8, -2), (0, -6)],
    -102: [(0, 60), (5, 57), (8, 50), (9, 43), (10, 30), (9, 15), (6, -2), (0, -5)],
}
# fmt: on
APEX = 129.0
"""Level of the vertex of the bare head, before the hair."""


@cache
def _loft() -> Loft:
    return Loft(OUTLINES, forward=0.0, ends=(-107.0, APEX), softness=(3.2, 2.0))


def head_mass(points: Points) -> Field:
    """The lofted head, from the vertex to under the chin."""
    return _loft()(points)


NECK_END = -154.0
_neck_front = line_through([-175, -150, -125, -105, -90, -70], [36, 44.5, 48.5, 50.5, 52, 54])
_neck_back = line_through([-175, -150, -125, -100, -70, -40, -15], [-82, -74, -69.5, -67.5, -67, -68, -72])
_neck_half = line_through([-175, -155, -140, -125, -100, -70, -40], [72, 61, 54.5, 51.5, 50.5, 50, 52])


def neck(points: Points) -> Field:
    """The neck, leaning forward as it rises, with the sternomastoids and the larynx."""
    across, forward, up = points.T
    across = np.abs(across)
    front, back, half = _neck_front(up), _neck_back(up), _neck_half(up)
    middle, depth = (front + back) / 2, (front - back) / 2
    reach = np.sqrt((across / half) ** 2 + ((forward - middle) / depth) ** 2)
    form = ((reach - 1) * np.minimum(half, depth)).astype(np.float32)
    # Sternomastoid: from the mastoid (behind the ear) down and forward to the pit of the neck.
    along = np.clip((up + 20) / (-165 + 20), 0, 1)
    centre_angle = np.radians(118 - 103 * along**1.15)
    angle = np.arctan2(across / half, (forward - middle) / depth)
    muscle = 2.8 * bump(angle - centre_angle, 0.19 - 0.05 * along) * step(up, -10, -60) * step(along, 1.05, 0.75)
    larynx = 4.0 * bump(across, 6.5) * bump(up + 123, 9.0) * step(forward, 10, 30)
    trachea = 1.0 * bump(across, 9.0) * step(up, -128, -140) * step(forward, 0, 20)
    hollow = 0.8 * bump(angle - centre_angle + 0.30, 0.13) * step(up, -80, -130) * (forward > middle)
    form = within(form, (up + 30).astype(np.float32), 20.0)
    return form - (muscle + larynx + trachea - hollow).astype(np.float32)


def body(points: Points) -> Field:
    """Head and neck in one, before the features, open below `NECK_END`."""
    return union(head_mass(points), neck(points), 14.0)
