"""Where the loops of the base head run: lid margins, borders of the lips, the outline of the ear and its rows.

All curves are those of the left side, in the posed frame; each begins where the loop of the layout does and runs
counter-clockwise seen from outside.
"""

import numpy as np
from demo_head import ears, mouth
from demo_head.shapes import curve
from demo_head.truth import lid_margins
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from .form import EYE, FLIP, along, landmarks

Points = NDArray[np.float64]


def lid_margin(count: int) -> Points:
    """(count, 3) the edge of both lids; the inner corner lies at 7/8 of the way round, the outer at 3/8."""
    marks = landmarks()
    inner, outer = marks["endocanthion-left"], marks["exocanthion-left"]
    centre = np.asarray(EYE.centre) * FLIP
    lids = []
    for line in lid_margins(EYE, 120):
        spokes = line * FLIP - centre
        edge = centre + spokes * (EYE.radius + EYE.lid_thickness / 2) / EYE.radius
        keep = (edge[:, 0] > inner[0] + 2.5) & (edge[:, 0] < outer[0] - 1.0)
        lids.append(np.vstack([inner, edge[keep], outer]))
    upper, lower = lids
    half = count // 2
    around = np.vstack([_evenly(lower, half + 1)[:-1], _evenly(upper[::-1], half + 1)[:-1]])
    return np.roll(around, -count // 8, axis=0)  # from the inner corner to the loop's beginning below it


def lip_border(count: int) -> Points:
    """(count, 3) the border of the red of the lips; its corners lie at 0.4 (left) and 0.9 of the way round."""
    x = np.linspace(-27.0, 27.0, 200)
    lower = _from_the_front(x, np.minimum(mouth._lower_border(np.abs(x)), mouth._line(np.abs(x)) - 0.02))
    upper = _from_the_front(x, np.maximum(mouth._upper_border(np.abs(x)), mouth._line(np.abs(x)) + 0.02))
    return _round_the_mouth(lower, upper, count)


def inner_lips(count: int) -> Points:
    """(count, 3) the loop inside the lips, 1.2 mm off their line, pointed at the corners of the mouth."""
    x = np.linspace(-25.6, 25.6, 200)
    off = np.minimum(1.2, (25.6 - np.abs(x)) * 1.2 / 2.1)
    line = mouth._line(np.abs(x))
    return _round_the_mouth(_from_the_front(x, line - off), _from_the_front(x, line + off), count)


def mouth_line(count: int) -> Points:
    """(count, 3) the line between the lips, from the right corner to the left."""
    x = np.linspace(-25.6, 25.6, 200)
    return _evenly(_from_the_front(x, mouth._line(np.abs(x))), count)


def _round_the_mouth(lower: Points, upper: Points, count: int) -> Points:
    half = count // 2
    around = np.vstack([_evenly(lower, half + 1)[:-1], _evenly(upper[::-1], half + 1)[:-1]])
    return np.roll(around, -count // 10, axis=0)


def _from_the_front(x: NDArray[np.float64], z: NDArray[np.float64]) -> Points:
    starts = np.stack([x, np.full_like(x, -40.0), z], axis=1)
    return along(starts, np.tile([0.0, -1.0, 0.0], (len(x), 1)), 90.0)


def _evenly(line: Points, count: int) -> Points:
    """(count, d) points evenly spaced along a line."""
    at = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    return np.stack([np.interp(np.linspace(0, at[-1], count), at, column) for column in line.T], axis=1)


class EarPlane:
    """The plane the left ear is drawn on: (backwards, up) from the tragion, and out of it."""

    def __init__(self) -> None:
        origin, axes = ears._frame()
        self.origin, self.axes = origin * FLIP, axes * FLIP
        self.drawing = ears._drawing()
        outline = curve(ears.OUTLINE, 2000, closed=True)
        self._middle = np.array([14.0, -0.5])
        self._stretch = np.array([18.0, 31.0])
        way = (outline - self._middle) / self._stretch
        angles = np.arctan2(way[:, 1], way[:, 0])
        order = np.argsort(angles)
        self._angles, self._reach = angles[order], np.linalg.norm(way, axis=1)[order]

    def outline(self, share: NDArray[np.float64], count: int) -> Points:
        """(count, 2) places at these shares of the way from the ear's middle to its outline, one a spoke."""
        spokes = self.spokes(count)
        reach = np.interp(spokes, self._angles, self._reach, period=2 * np.pi)
        way = np.stack([np.cos(spokes), np.sin(spokes)], axis=1)
        return self._middle + way * (reach * share)[:, None] * self._stretch

    def around(self, count: int, off: float | NDArray[np.float64]) -> Points:
        """(count, 2) places `off` mm outside the outline, along the spokes: square to it, they would crowd before the
        notch over the tragus.
        """
        line = self.outline(np.ones(count), count)
        away = line - self._middle
        away /= np.linalg.norm(away, axis=1, keepdims=True)
        return line + np.broadcast_to(off, count)[:, None] * away

    def bowl(self, count: int) -> Points:
        """(count, 2) a line round the bowl of the ear and up to its fossa."""
        spokes = self.spokes(count)
        upwards = np.clip(np.sin(spokes), 0, 1) ** 2
        return np.stack(
            [11.0 + (7.5 + 1.0 * upwards) * np.cos(spokes), -3.0 + (8.0 + 10.0 * upwards) * np.sin(spokes)], 1
        )

    @staticmethod
    def spokes(count: int) -> NDArray[np.float64]:
        """(count,) the direction of each spoke, radians: a block of 3 by 6 faces seen from its middle."""
        corners = np.array([0, 3, 9, 12, 18]) / 18
        return np.interp(np.arange(count) / count, corners, np.radians([-135.0, -45.0, 45.0, 135.0, 225.0]))

    def front(self, count: int) -> NDArray[np.float64]:
        """(count,) how far each spoke points to the face, where the ear has no back: 0 to 1."""
        towards = -np.cos(self.spokes(count)) + 0.25 * np.minimum(np.sin(self.spokes(count)), 0)
        return np.clip((towards - 0.05) / 0.6, 0, 1) ** 2 * (3 - 2 * np.clip((towards - 0.05) / 0.6, 0, 1))

    def depth(self, image: str, places: Points) -> NDArray[np.float64]:
        """(n,) one of the drawing's images ("relief", "back") at places of the plane."""
        at = [(places[:, k] - ears.LOW[k]) / ears.STEP for k in (0, 1)]
        return map_coordinates(getattr(self.drawing, image), np.stack(at), order=1, mode="nearest").astype(float)

    def placed(self, places: Points, out: NDArray[np.float64]) -> Points:
        """(n, 3) places of the plane, `out` mm before it, in the posed frame."""
        return self.origin + np.column_stack([places, out]) @ self.axes

    def flat(self, points: Points) -> Points:
        """(n, 3) points of the posed frame as backwards, up and out of the plane."""
        return (points - self.origin) @ self.axes.T

    def skin_under(self, places: Points) -> Points:
        """(n, 3) the head's skin there, as if it had no ear, seen from the side."""
        starts = self.placed(places, np.zeros(len(places)))
        starts[:, 0] = 15.0
        return along(starts, np.tile([1.0, 0.0, 0.0], (len(places), 1)), 80.0)
