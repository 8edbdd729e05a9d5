"""What makes one head not another: asymmetry, and other people within the norms.

Both are gentle moves of the finished surface. Around each eye the move is a pure shift, so that globes stay
spheres of the size they were made and lids keep their thickness.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from .eyes import EyeForm
from .shapes import step

# (place, width, shift): what lies within about `width` of the place goes along with the shift. Millimetres.
Pull = tuple[tuple[float, float, float], float, tuple[float, float, float]]

LIFE: tuple[Pull, ...] = (
    ((0, 119, -20), 14.0, (0.7, 0.0, 0.0)),
    ((25, 88, -50), 10.0, (0.0, 0.0, 0.5)),
    ((30, 90, 38), 12.0, (0.0, 0.3, 0.7)),
    ((-52, 55, -60), 24.0, (-0.6, 0.3, -0.3)),
    ((-45, 75, -8), 16.0, (0.2, 0.5, 0.3)),
    ((70, -10, 0), 22.0, (0.4, 0.0, 0.5)),
    ((0, 98, -88), 18.0, (-0.6, 0.0, 0.0)),
    ((31.5, 76, 16.5), 20.0, (0.1, 0.1, 0.4)),
)
"""The asymmetry of the portrait: no face is its own mirror image."""

# What differs between people: (place on the left, width, shift of one standard deviation). Each pulls both sides.
# Shifts follow the spread of the norms in proportions.py where it has them, otherwise from memory of faces.
TRAITS: dict[str, Pull] = {
    "width of the cheekbones": ((62, 42, -4), 24.0, (2.6, 0.0, 0.0)),
    "width of the jaw": ((50, 18, -60), 26.0, (3.0, 0.0, 0.0)),
    "height of the chin": ((0, 96, -95), 26.0, (0.0, 0.0, -3.4)),
    "strength of the chin": ((0, 96, -84), 20.0, (0.0, 2.2, 0.0)),
    "width of the mouth": ((26, 86, -50), 9.0, (1.8, 0.0, 0.0)),
    "fullness of the lips": ((0, 104, -50), 12.0, (0.0, 1.1, 0.0)),
    "width of the nose": ((17, 98, -22), 8.0, (1.4, 0.0, 0.0)),
    "length of the nose": ((0, 118, -22), 13.0, (0.0, 1.6, -1.6)),
    "bridge of the nose": ((0, 103, 2), 11.0, (0.0, 1.5, 0.0)),
    "brow": ((22, 92, 36), 17.0, (0.0, 1.5, 0.0)),
    "height of the brow's hair": ((32, 86, 42), 9.0, (0.0, 0.0, 1.3)),
    "fullness of the cheeks": ((40, 72, -26), 16.0, (0.9, 1.5, 0.0)),
    "stand of the ears": ((86, -22, 4), 18.0, (2.4, 0.0, 0.0)),
    "size of the ears": ((78, -14, 26), 15.0, (0.0, -0.6, 2.8)),
    "distance of the eyes": ((31.5, 70, 16.5), 22.0, (1.3, 0.0, 0.0)),
    "depth of the eyes": ((31.5, 70, 16.5), 24.0, (0.0, 1.2, 0.0)),
    "back of the head": ((0, -96, 45), 48.0, (0.0, -4.0, 0.0)),
    "crown": ((0, -15, 128), 46.0, (0.0, 0.0, 3.6)),
    "girth of the neck": ((55, -8, -128), 34.0, (3.0, 0.0, 0.0)),
}
FARTHEST = 1.6
"""Standard deviations no trait goes beyond: other people, not extremes."""


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

        def drawn() -> float:
            return float(np.clip(rng.standard_normal(), -FARTHEST, FARTHEST))

        size, slimness, height = 0.022 * drawn(), 0.018 * drawn(), 0.016 * drawn()
        scales = (1 + size + slimness, 1 + size - 0.5 * slimness, 1 + size - 0.5 * slimness + height)
        pulls = [pull for trait in TRAITS.values() for pull in _both_sides(trait, drawn())]
        life = [(place, width, tuple(drawn() * np.array(way))) for place, width, way in LIFE]
        eye = EyeForm(upper_reach=3.9 + 0.45 * drawn(), lower_reach=5.4 + 0.3 * drawn(), radius=12.1 + 0.25 * drawn())
        return cls(scales, (*pulls, *life), eye)

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
            hold = step(np.linalg.norm(points - centre, axis=1), 36.0, 18.5)[:, None]
            shift = (1 - hold) * shift + hold * self._shift(centre[None])
        return points + shift


def _both_sides(trait: Pull, strength: float) -> list[Pull]:
    """A trait's pulls on the left and the right; one alone where it lies on the midline."""
    (x, f, z), width, way = trait
    pulled = tuple(strength * np.array(way))
    if x == 0:
        return [((x, f, z), width, pulled)]
    return [((x, f, z), width, pulled), ((-x, f, z), width, (-pulled[0], pulled[1], pulled[2]))]
