"""The eye's published dimensions, its two-sphere shape, and the diameters eyes are sold in.

Every figure carries its source; most are worked out in reference_values.md, sections 1 and 4.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...geometry.errors import BadSetting
from .dimensions import GLOBE_WIDTH

FISSURE_LENGTH, FISSURE_HEIGHT = 27.1, 9.7
"""Opening between the lids, straight gaze, mm: 76 young adults, ± 1.5 and ± 1.2 (Read et al. 2006)."""

FISSURE_SPREAD = 1.5
"""How much people's fissures differ in length, mm, one standard deviation (Read et al. 2006)."""

MARGIN_REFLEX_UPPER, MARGIN_REFLEX_LOWER = 4.21, 5.87
"""Pupil centre to upper and lower lid edge, mm: 380 people (Malik et al. 2022)."""

CREASE_HEIGHT = 8.31
"""Upper lid edge to crease, mm (Malik et al. 2022)."""

LID_THICKNESS = 1.97
"""Whole upper lid at its edge, mm: skin 0.32 + orbicularis 0.74 + tarsus 0.91 (sums of three ultrasound studies)."""

LOWER_LID_THICKNESS = 1.57
"""Whole lower lid at its edge, mm: skin 0.32 + orbicularis 0.68 + tarsus 0.57 (PubMed 32942920 and 16432408)."""

PUPIL = 4.0
"""Indoor pupil, mm; from memory, within the 2.00 to 7.75 of Stanley and Davies' formula."""

CANTHUS_SHARE = 0.53
"""Where the pupil stands on the way from inner to outer canthus: (64 - 33) / (91 - 33), from the interpupillary
distance of 4,082 men (ANSUR II) and canthal distances en-en 33, ex-ex 91 (Farkas, from memory)."""

STOCK_SERIES = (2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 14.0, 16.0, 18.0, 20.0, 22.0, 24.0, 26.0, 28.0)
"""Diameters eyes are commonly sold in, mm (common practice; reference_values.md, section 4)."""


@dataclass(frozen=True)
class EyeShape:
    """The two-sphere eye of one diameter, its globe's centre at the origin of lengths along the optic axis.

    Notes
    -----
    Sclera of radius 12, cornea of radius 8, centres 5 apart (El Hage and Le Grand 1980), scaled so that the
    sclera's sphere has the eye's diameter. Limbus, 10.5 in front of the centre and 11.619 across, corneal height
    2.5, bulge 1 and length 25 follow from those three.
    """

    diameter: float

    @property
    def sclera(self) -> float:
        """Radius of the sclera."""
        return self.diameter / 2

    @property
    def cornea(self) -> float:
        """Radius of the cornea."""
        return self.sclera * 8 / 12

    @property
    def cornea_ahead(self) -> float:
        """How far the cornea's centre lies in front of the globe's."""
        return self.sclera * 5 / 12

    @property
    def limbus_ahead(self) -> float:
        """How far the plane of the limbus lies in front of the globe's centre."""
        return self.sclera * 10.5 / 12

    @property
    def limbus(self) -> float:
        """Radius of the limbus, where cornea and sclera meet."""
        return float(np.sqrt(self.sclera**2 - self.limbus_ahead**2))

    @property
    def limbus_angle(self) -> float:
        """Half-angle of the cone from the globe's centre through the limbus, radians."""
        return math.atan2(self.limbus, self.limbus_ahead)

    @property
    def apex(self) -> float:
        """How far the corneal apex lies in front of the globe's centre."""
        return self.cornea_ahead + self.cornea

    @property
    def pupil(self) -> float:
        """Radius of the pupil at an indoor opening."""
        return PUPIL / 2 * self.diameter / GLOBE_WIDTH

    def reach(self, cosines: NDArray[np.float64], gap: float = 0.0) -> NDArray[np.float64]:
        """Distance from the globe's centre to the surface `gap` outside both spheres.

        Parameters
        ----------
        cosines : array of cosines of the angle to the optic axis, any shape
        gap : added to both radii
        """
        cosines = np.asarray(cosines, dtype=np.float64)
        under = (self.cornea + gap) ** 2 - self.cornea_ahead**2 * (1 - cosines**2)
        cornea = self.cornea_ahead * cosines + np.sqrt(np.maximum(under, 0.0))
        return np.asarray(
            np.where((cosines > 0) & (under > 0), np.maximum(cornea, self.sclera + gap), self.sclera + gap)
        )

    def profile(self, sag: float) -> NDArray[np.float64]:
        """(k, 2) outline of radius and length ahead, from the back pole over the limbus to the corneal apex."""
        back = arc(0.0, self.sclera, np.pi, self.limbus_angle, sag)
        front = arc(self.cornea_ahead, self.cornea, np.arcsin(self.limbus / self.cornea), 0.0, sag)
        outline = np.concatenate([back, front[1:]])
        outline[[0, -1], 0] = 0.0
        return outline


def arc(centre: float, radius: float, first: float, last: float, sag: float) -> NDArray[np.float64]:
    """(k, 2) radius and length ahead of points of a circle about the axis, between two angles to it, radians; no chord
    lies deeper than `sag`.
    """
    step = 2 * np.arccos(1 - min(sag / radius, 0.1))
    angles = np.linspace(first, last, max(4, int(np.ceil(abs(last - first) / step)) + 1))
    return np.column_stack([radius * np.sin(angles), centre + radius * np.cos(angles)])


def stock_series(text: str) -> tuple[float, ...]:
    """The diameters written in `text`, separated by commas or spaces; the usual series if it is empty.

    Raises
    ------
    BadSetting
        Something that is not a number above 0.
    """
    sizes = []
    for word in text.replace(",", " ").split():
        try:
            size = float(word)
        except ValueError:
            size = 0.0
        if not 0 < size < np.inf:
            raise BadSetting(
                f"place-eyes: {word!r} in the stock series is no diameter: give millimetres such as 4, 6, 8"
            )
        sizes.append(size)
    return tuple(sorted(sizes)) or STOCK_SERIES


def nearest_stock(wanted: float, series: Sequence[float] = STOCK_SERIES) -> float:
    """The diameter of the series nearest to the one wanted, by ratio: half as large is as far off as twice as large."""
    return min(series, key=lambda size: abs(np.log(size / wanted)))
