"""The opening between the lids, as its landmarks or published sizes give it. Life size, posed frame."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .eye import (
    CANTHUS_SHARE,
    FISSURE_HEIGHT,
    FISSURE_LENGTH,
    FISSURE_SPREAD,
    MARGIN_REFLEX_LOWER,
    MARGIN_REFLEX_UPPER,
)

SIDES = (("left", 1.0), ("right", -1.0))
"""The sitter's own sides, and the sign of x there."""

CORNERS = ("endocanthion", "exocanthion", "palpebrale-superius", "palpebrale-inferius")
"""The landmarks of one eye."""

CANTHAL_RISE = 2.0
"""Outer canthus above the inner one, mm (reference_values.md, section 1)."""

_LINE_SPREAD = 2.5
"""How far off the length of a line of shut lids may be, mm, one standard deviation (our estimate)."""

LEAST_OPEN = 3.0
"""A fissure lower than this is that of a closed eye, mm: half the 6.4 of the deepest down-gaze (Read et al. 2006)."""


@dataclass(frozen=True, eq=False)
class Fissure:
    """Four places on the lid margins: inner and outer corner, the middle of the upper and of the lower lid.

    Parameters
    ----------
    side : the sitter's own "left" or "right"
    inner, outer, upper, lower : (3,) float64 arrays, mm at life size in the posed frame
    """

    side: str
    inner: NDArray[np.float64]
    outer: NDArray[np.float64]
    upper: NDArray[np.float64]
    lower: NDArray[np.float64]

    @property
    def length(self) -> float:
        """From corner to corner."""
        return float(np.linalg.norm(self.outer - self.inner))

    @property
    def height(self) -> float:
        """From margin to margin."""
        return float(np.linalg.norm(self.upper - self.lower))

    @property
    def is_open(self) -> bool:
        """Whether a globe can be seen between the lids."""
        return self.height >= LEAST_OPEN

    def curve(self, count: int = 96) -> NDArray[np.float64]:
        """(count, 3) closed margin: along the upper lid from inner to outer corner, back along the lower."""
        share = np.linspace(0.0, 1.0, count // 2 + 1)[:-1]
        return np.concatenate([self._lid(self.upper, share), self._lid(self.lower, 1.0 - share)])

    def _lid(self, peak: NDArray[np.float64], share: NDArray[np.float64]) -> NDArray[np.float64]:
        chord = self.outer - self.inner
        top = float(np.clip((peak - self.inner) @ chord / (chord @ chord), 0.25, 0.75))
        off = np.abs(share - top) / np.where(share < top, top, 1.0 - top)
        bow = (1.0 - off**2.2) ** 0.9  # between a parabola and an ellipse: lids bend most near their peaks and corners
        return np.asarray(self.inner + share[:, None] * chord + bow[:, None] * (peak - self.inner - top * chord))

    def pupil_line(self) -> tuple[float, float]:
        """X and z of the pupil's centre under straight gaze.

        Notes
        -----
        Across by the share of the way between the canthi, up by the margin reflex distances: half by their share of the
        height (4.21 to 5.87), half by the lower one alone, since the lower lid stays where it is however far the upper
        one is lifted, and is the surer of the two. In a closed eye the margins meet about where the lower lid stood;
        their line may run on beyond the outer canthus, so that people's usual length counts as well.
        """
        usual, line = FISSURE_SPREAD**-2, _LINE_SPREAD**-2
        length = (line * self.length + usual * FISSURE_LENGTH) / (line + usual)
        share = CANTHUS_SHARE * (1.0 if self.is_open else length / self.length)
        x = float(self.inner[0] + share * (self.outer[0] - self.inner[0]))
        if self.is_open:
            share = MARGIN_REFLEX_LOWER / (MARGIN_REFLEX_LOWER + MARGIN_REFLEX_UPPER)
            alone = MARGIN_REFLEX_LOWER * self.length / FISSURE_LENGTH
            return x, float(self.lower[2] + (share * (self.upper[2] - self.lower[2]) + alone) / 2)
        return x, float((self.upper[2] + self.lower[2]) / 2 + 0.7 * MARGIN_REFLEX_LOWER)

    def moved(self, offset: NDArray[np.float64]) -> "Fissure":
        """The fissure shifted by (3,) millimetres."""
        return Fissure(self.side, self.inner + offset, self.outer + offset, self.upper + offset, self.lower + offset)

    def lowered(self, drop: float) -> "Fissure":
        """The fissure with its upper margin so much nearer to the lower one, mm."""
        return replace(self, upper=self.upper + drop / self.height * (self.lower - self.upper))

    def opened(self, height: float = FISSURE_HEIGHT) -> "Fissure":
        """The fissure of a shut eye as it is with the lids apart, mm.

        Notes
        -----
        The lower lid hardly moves in closing: shut, the margins meet where it stood, so that the upper one takes nine
        tenths of the way (common practice, no source; the share of the lower lid in a blink is 0.1 to 0.2, from
        memory).
        """
        shut = (self.upper + self.lower) / 2
        rise = np.array([0.0, 0.0, height])
        return Fissure(self.side, self.inner, self.outer, shut + 0.9 * rise, shut - 0.1 * rise)

    def drawn_in(self, longest: float, globe: NDArray[np.float64]) -> "Fissure":
        """The fissure with neither corner farther from a (3,) globe's middle than in one of length `longest`, mm."""
        way = (self.outer - self.inner) / self.length
        before = self.inner + float(np.clip((globe - self.inner) @ way, 0.3 * self.length, 0.7 * self.length)) * way
        most = longest * np.array([CANTHUS_SHARE, 1 - CANTHUS_SHARE])
        inner, outer = (
            before + min(1.0, float(far / np.linalg.norm(end - before))) * (end - before)
            for end, far in zip((self.inner, self.outer), most, strict=True)
        )
        return Fissure(self.side, inner, outer, self.upper, self.lower)

    def mirrored(self) -> "Fissure":
        """The other eye's fissure in a face that is the same on both sides of x = 0."""
        other = "right" if self.side == "left" else "left"
        flip = np.array([-1.0, 1.0, 1.0])
        return Fissure(other, self.inner * flip, self.outer * flip, self.upper * flip, self.lower * flip)


def published_fissure(side: str, pupil: NDArray[np.float64]) -> Fissure:
    """A fissure of the published 27.1 by 9.7 mm about the pupil's place, (3,) on the cornea."""
    outwards = 1.0 if side == "left" else -1.0
    inner_way, outer_way = -CANTHUS_SHARE * FISSURE_LENGTH, (1 - CANTHUS_SHARE) * FISSURE_LENGTH
    upper_share = MARGIN_REFLEX_UPPER / (MARGIN_REFLEX_LOWER + MARGIN_REFLEX_UPPER)
    places = {
        "inner": (inner_way, 4.0, -CANTHAL_RISE / 2),
        "outer": (outer_way, 8.0, CANTHAL_RISE / 2),
        "upper": (-1.0, 0.5, upper_share * FISSURE_HEIGHT),
        "lower": (1.0, 1.5, (upper_share - 1) * FISSURE_HEIGHT),
    }
    return Fissure(side, **{name: pupil + np.array([outwards * x, y, z]) for name, (x, y, z) in places.items()})
