"""Forms drawn as half outlines at rising levels, the way a sculptor cuts templates, and lofted into one skin."""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline, PchipInterpolator
from scipy.ndimage import gaussian_filter, map_coordinates

from .shapes import Field, Points

Outline = Sequence[tuple[float, float]]


class Loft:
    """A form around an upright axis, alike on both sides of the midline.

    Parameters
    ----------
    outlines : level (mm up) to half outline, points (across, forward) from the front midline to the back midline
    forward : where the axis stands
    ends : levels under and over all outlines where the form has closed
    softness : standard deviations, in mm of level and in degrees around, that the loft is smoothed by

    Notes
    -----
    The squared distance from the axis is interpolated, not the distance: it passes straight through zero at the
    top of a dome, where the distance itself has a vertical tangent.
    """

    def __init__(self, outlines: Mapping[float, Outline], forward: float, ends: tuple[float, float],
                 softness: tuple[float, float]) -> None:  # fmt: skip
        self.forward = forward
        self.step = 0.5
        self.levels = np.arange(ends[0] - 12, ends[1] + 18, self.step)
        self.angles = np.linspace(0, np.pi, 361)
        known = {level: self._squared(outline) for level, outline in outlines.items()}
        low, high = ends
        known |= {low: 0 * self.angles, high: 0 * self.angles, low - 12: 0 * self.angles - 500}
        steepness = known[max(outlines)].mean() / (high - max(outlines))
        known |= {high + way: 0 * self.angles - steepness * way for way in (4.0, 8.0, 14.0, 20.0)}
        order = sorted(known)
        table = PchipInterpolator(order, np.array([known[level] for level in order]), axis=0)(self.levels)
        spread = (softness[0] / self.step, softness[1] * 2)
        self.table = gaussian_filter(table, spread, mode=("nearest", "mirror")).astype(np.float32)
        self.slopes = np.gradient(self.table, self.step, self.angles[1])

    def _squared(self, outline: Outline) -> NDArray[np.float64]:
        across, forward = np.array(outline, float).T
        angle = np.arctan2(across, forward - self.forward)
        angle[0], angle[-1] = 0.0, np.pi
        return CubicSpline(angle, np.hypot(across, forward - self.forward), bc_type="clamped")(self.angles) ** 2

    def __call__(self, points: Points) -> Field:
        """Near-distances of (n, 3) points, negative inside."""
        across, up = points[:, 0], points[:, 2]
        forward = points[:, 1] - np.float32(self.forward)
        radius = np.hypot(across, forward)
        at = np.stack([(up - self.levels[0]) / self.step, np.abs(np.arctan2(across, forward)) / self.angles[1]])
        # The table is smooth, so its own values serve as spline coefficients: no facets from linear steps.
        squared = map_coordinates(self.table, at, order=3, mode="nearest", prefilter=False)
        by_level, by_angle = (map_coordinates(table, at, order=1, mode="nearest") for table in self.slopes)
        slope = np.sqrt(4 * radius**2 + by_level**2 + (by_angle / np.maximum(radius, 6.0)) ** 2)
        return (radius**2 - squared) / np.maximum(slope, 12.0)
