"""What makes one head not another: asymmetry, and other people within the norms.

Both are gentle moves of the finished surface. Around each eye the move is a pure shift, so that globes stay
spheres of the size they were made and lids keep their thickness.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from .eyes import EyeForm
from .shapes import step

# (place, width, shift): everything within about `width` of the place goes along with the shift. Millimetres.
Pull = tuple[tuple[float, float, float], float, tuple[float, float, float]]

LIFE: tuple[Pull, ...] = (
    ((0, 119, -20), 14.0, (0.7, 0.0, 0.0)),
    ((25, 88, -50), 10.0, (0.0, 0.0, 0.5)),
    ((30, 90, 38), 12.0, (0.0, 0.3, 0.7)),
    ((-52, 55, -60), 24.0, (-0.6, 0.3, -0.3)),
    ((-45, 75, -8), 16.0, (0.2, 0.5, 0.3)),
    ((70, -10, 0), 22.0, (0.4, 0.0, 0.9)),
    ((0, 98, -88), 18.0, (-0.6, 0.0, 0.0)),
    ((31.5, 76, 16.5), 20.0, (0.1, 0.1, 0.4)),
)
"""The asymmetry of the portrait: no face is its own mirror image."""


@dataclass(frozen=True)
class Variation:
    """Scales of the whole (across, forward, up), pulls, and the eyes that go with them."""

    scales: tuple[float, float, float] = (1.0, 1.0, 1.0)
    pulls: tuple[Pull, ...] = LIFE
    eye: EyeForm = field(default_factory=EyeForm)

    @classmethod
    def drawn(cls, seed: int) -> "Variation":
        """The variation of a seed; 0 is the portrait itself."""
        if seed == 0:
            return cls()
        rng = np.random.default_rng(seed)
        scales = tuple(1 + np.array([0.025, 0.025, 0.025]) * np.clip(rng.standard_normal(3), -1.5, 1.5))
        eye = EyeForm(
            upper_reach=float(rng.uniform(3.4, 4.6)),
            lower_reach=float(rng.uniform(4.9, 5.8)),
        )
        return cls(scales, LIFE, eye)

    def _shift(self, points: NDArray) -> NDArray:
        shift = points * (np.asarray(self.scales) - 1)
        for place, width, way in self.pulls:
            weight = np.exp(-0.5 * np.sum((points - np.asarray(place)) ** 2, axis=1) / width**2)
            shift += weight[:, None] * np.asarray(way)
        return shift

    def apply(self, points: NDArray) -> NDArray[np.float64]:
        """(n, 3) points of the sculpture, moved; the sculptor's frame."""
        points = np.asarray(points, float)
        shift = self._shift(points)
        for sign in (1.0, -1.0):
            centre = np.asarray(self.eye.centre) * [sign, 1, 1]
            hold = step(np.linalg.norm(points - centre, axis=1), 36.0, 18.0)[:, None]
            shift = (1 - hold) * shift + hold * self._shift(centre[None])
        return points + shift
