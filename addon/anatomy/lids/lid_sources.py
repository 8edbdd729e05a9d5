"""What a fissure is taken from where the scan does not show it: landmarks as far as they are sure, else numbers.

Life size, posed frame.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..eyes.eye import CANTHUS_SHARE, FISSURE_HEIGHT, FISSURE_LENGTH, MARGIN_REFLEX_LOWER, MARGIN_REFLEX_UPPER
from ..eyes.fissure import Fissure

_LENGTHS = (24.1, 30.1)
"""mm: what a corner that is not sure is believed between: two standard deviations about 27.1 ± 1.5 (Read et al.
2006)."""

_HEIGHTS = (7.0, 12.0)
"""mm: the same of margins, the clinical range of adults' palpebral fissures (doi 10.1007/978-3-319-23270-6_1)."""

_PEAKS = (CANTHUS_SHARE - 1.0 / FISSURE_LENGTH, CANTHUS_SHARE + 1.0 / FISSURE_LENGTH)
"""Shares of the way from the inner corner: the upper lid peaks just nasal to the pupil, the lower one just temporal
(doi 10.1007/978-3-319-23270-6_1); a millimetre is our reading of "just"."""

_ASTRAY = 2.5  # mm from where it lies under most globes' middles: a lower margin farther off is not believed either

LANDMARKS, PUBLISHED = "the landmarks", "what most adults have"


@dataclass(frozen=True, eq=False)
class ToldFissure:
    """A fissure, and what its `length` and its `height` were taken from."""

    fissure: Fissure
    length: str
    height: str


def told_fissure(
    fissure: Fissure, centre: NDArray[np.float64], sure_corners: bool, sure_lids: bool, published: bool = False
) -> ToldFissure:
    """The fissure the landmarks show, with a published length or height where they are weak and say what few eyes have.

    Parameters
    ----------
    fissure : of the landmarks
    centre : (3,) of the globe
    sure_corners, sure_lids : whether both corners, and both middles of the lids, are sure
    published : whether published sizes are wanted in any case; the landmarks still tell where and how tilted
    """
    length, height = LANDMARKS, LANDMARKS
    if published or not (sure_corners or _LENGTHS[0] < fissure.length < _LENGTHS[1]):
        fissure, length = _as_long(fissure, centre), PUBLISHED
    if published or not (sure_lids or _HEIGHTS[0] < fissure.height < _HEIGHTS[1]):
        fissure, height = _as_high(fissure, centre, keep_lower=not published), PUBLISHED
    return ToldFissure(fissure, length, height)


def usually_peaked(fissure: Fissure) -> Fissure:
    """The fissure with its lids' middles abreast of where most lids peak, as high as they were."""
    way = fissure.outer - fissure.inner
    moved = [
        middle + (share - float((middle - fissure.inner) @ way / (way @ way))) * way
        for middle, share in zip((fissure.upper, fissure.lower), _PEAKS, strict=True)
    ]
    return replace(fissure, upper=moved[0], lower=moved[1])


def _as_long(fissure: Fissure, centre: NDArray[np.float64]) -> Fissure:
    """The fissure 27.1 mm long, its corners beside the globe as most adults' are."""
    way = (fissure.outer - fissure.inner) / fissure.length
    before = fissure.inner + float((centre - fissure.inner) @ way) * way
    inner = before - CANTHUS_SHARE * FISSURE_LENGTH * way
    return replace(fissure, inner=inner, outer=inner + FISSURE_LENGTH * way)


def _as_high(fissure: Fissure, centre: NDArray[np.float64], keep_lower: bool) -> Fissure:
    """The fissure 9.7 mm high: over its lower margin, which lashes hide least, or about the globe's middle."""
    middle = (fissure.upper + fissure.lower) / 2
    share = MARGIN_REFLEX_UPPER / (MARGIN_REFLEX_UPPER + MARGIN_REFLEX_LOWER)
    usual = float(centre[2]) - (1 - share) * FISSURE_HEIGHT
    low = float(fissure.lower[2])
    if not keep_lower or abs(low - usual) > _ASTRAY:
        low = usual
    upper, lower = (np.array([middle[0], middle[1], low + rise]) for rise in (FISSURE_HEIGHT, 0.0))
    return replace(fissure, upper=upper, lower=lower)
