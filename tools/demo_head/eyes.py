"""The eyes: globe with cornea, lids of known thickness around a known opening, crease, folds and inner corner.

Directions from the globe's centre are a bearing (degrees towards the temple) and an elevation (degrees up), so that
the lid margins are curves on the globe itself.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline, PchipInterpolator

from .shapes import Field, Points, bump, ellipsoid, line_through, sphere, step, union, without


@dataclass(frozen=True)
class EyeForm:
    """One eye, mirrored for the other. Lengths in mm, the sculptor's frame (across, forward, up)."""

    centre: tuple[float, float, float] = (31.5, 70.0, 16.5)
    radius: float = 12.1
    lid_thickness: float = 2.0
    upper_reach: float = 4.2
    """Pupil centre to the middle of the upper lid's edge (MRD1), seen from the front."""
    lower_reach: float = 5.5
    """Pupil centre to the middle of the lower lid's edge (MRD2)."""
    inner: float = 15.4
    """Across from pupil centre to the inner corner."""

    @property
    def cornea_radius(self) -> float:
        """Two-sphere eye model, 12 : 8 with centres 5 apart (Le Grand and El Hage 1980)."""
        return self.radius * 8 / 12

    @property
    def cornea_shift(self) -> float:
        """From the globe's centre to the cornea's, along the gaze."""
        return self.radius * 5 / 12

    @property
    def limbus_radius(self) -> float:
        """Where sclera and cornea meet: 5.81 for a globe of 12, of the same model."""
        return self.radius * 5.8095 / 12

    @cached_property
    def margins(self) -> tuple[PchipInterpolator, PchipInterpolator]:
        """Upper and lower lid edge: elevation over bearing, degrees.

        The upper peaks just nasal to the pupil's centre, the lower just temporal (doi 10.1007/978-3-319-23270-6_1).
        """
        middle_of_edge = self.radius + self.lid_thickness / 2
        top = np.degrees(np.arcsin(self.upper_reach / middle_of_edge))
        low = np.degrees(np.arcsin(self.lower_reach / middle_of_edge))
        inner, outer = self.corners
        upper = PchipInterpolator(
            [inner, inner + 7, inner + 18, -24, -8, 10, 30, 46, outer],
            [-5.0, -0.6, 6.4, top * 0.84, top, top * 0.985, top * 0.78, 9.2, 2.0],
        )
        lower = PchipInterpolator(
            [inner, inner + 7, inner + 18, -24, -4, 10, 30, 46, outer],
            [-5.0, -8.2, -12.6, -low * 0.79, -low * 0.955, -low, -low * 0.83, -10.5, 2.0],
        )
        return upper, lower

    @property
    def corners(self) -> tuple[float, float]:
        """Bearings of the inner and the outer corner, degrees."""
        return -60.0, 62.0


def _directions(points: Points, eye: EyeForm) -> tuple[NDArray, NDArray, NDArray]:
    """Bearing and elevation (degrees) seen from the globe's centre, and distance from it."""
    across, forward, up = (points - np.asarray(eye.centre, np.float32)).T
    distance = np.sqrt(across**2 + forward**2 + up**2)
    bearing = np.degrees(np.arctan2(across, forward))
    elevation = np.degrees(np.arctan2(up, np.hypot(across, forward)))
    return bearing, elevation, distance


def opening(points: Points, eye: EyeForm) -> Field:
    """Distance (mm, along the lids) to the edge of the opening: negative between the lids."""
    bearing, elevation, distance = _directions(points, eye)
    upper, lower = eye.margins
    inner, outer = eye.corners
    at = np.clip(bearing, inner, outer)
    high, low = upper(at), lower(at)
    rise, sink = upper.derivative()(at), lower.derivative()(at)
    over = (elevation - high) / np.sqrt(1 + rise**2)
    under = (low - elevation) / np.sqrt(1 + sink**2)
    beyond = np.maximum(bearing - outer, inner - bearing)
    edge = np.maximum(over, under)
    edge = np.where(beyond > 0, np.hypot(np.maximum(edge, 0), beyond), np.maximum(edge, beyond))
    # The cut is a cone from the globe's centre; it must not reach through the root of the nose.
    return np.maximum(np.radians(edge) * np.maximum(distance, 6.0), distance - 19.0).astype(np.float32)


def globe(points: Points, eye: EyeForm) -> Field:
    """Sclera and cornea, the limbus rounded by less than a tenth of a millimetre."""
    x, f, z = eye.centre
    return union(
        sphere(points, eye.centre, eye.radius), sphere(points, (x, f + eye.cornea_shift, z), eye.cornea_radius), 0.25
    )


def set_in(skin: Field, points: Points, eye: EyeForm) -> Field:
    """`skin` with lids wrapped over the globe, opened, and the globe between them."""
    side = points.copy()
    side[:, 0] = np.abs(side[:, 0])
    near = np.flatnonzero(np.sum((side - np.asarray(eye.centre, np.float32)) ** 2, axis=1) < 40.0**2)
    if not len(near):
        return skin
    skin = skin.copy()
    skin[near] = _eye_region(skin[near], side[near], eye)
    return skin


_crease = line_through([-52, -42, -25, -5, 20, 40, 56, 70], [10, 18, 33, 41, 38, 27, 15, 8])
"""Elevation of the upper crease over the bearing, degrees: 8 to 9 mm over the pupil at its height."""
_crease_slope = CubicSpline(np.arange(-80, 81, 4.0), _crease(np.arange(-80, 81, 4.0))).derivative()
_pouch = line_through([-60, -45, -20, 5, 30, 55, 70], [-16, -27, -40, -45, -40, -24, -14])
"""The same for the soft furrow under the lower lid."""


def _eye_region(skin: Field, points: Points, eye: EyeForm) -> Field:
    bearing, elevation, distance = _directions(points, eye)
    at = np.clip(bearing, -80, 80)
    crease, pouch = _crease(at), _pouch(at)
    front = step(np.abs(bearing), 88, 68) * step(distance, 27, 20)
    # Over the crease the brow's soft fold hangs forward of the lid; under it the lid lies on the globe.
    above = (elevation - crease) / np.sqrt(1 + _crease_slope(at) ** 2)
    fold = 1.5 * step(above, 0.0, 9.0) * step(above, 34.0, 9.0) * front * step(at, 80, 30) * step(at, -58, -30)
    skin = skin - fold.astype(np.float32)
    lids = sphere(points, eye.centre, eye.radius + eye.lid_thickness)
    over = step(elevation, crease - 14, crease - 2)
    melt = 5.0 + 8.0 * step(elevation, -26, -66) - 4.0 * over * step(np.abs(at), 72, 50)
    form = union(skin, lids, melt.astype(np.float32))
    groove = 1.1 * bump(above, 2.2) * front * step(at, -54, -40) * step(at, 66, 48)
    furrow = 0.3 * bump(elevation - pouch, 4.5) * front * step(at, -62, -40) * step(at, 60, 40)
    form = form + (groove + furrow).astype(np.float32)
    gap = opening(points, eye)
    form = without(form, gap, 0.9)
    x, f, z = eye.centre
    corner = ellipsoid(points, (x - 12.9, f + 5.8, z - 1.3), (2.4, 2.5, 1.6))
    bed = sphere(points, (x - 11.0, f + 1.2, z - 1.0), 6.4)
    inner = union(bed, corner, 1.2)
    return union(form, union(inner, globe(points, eye), 0.4), 0.35)
