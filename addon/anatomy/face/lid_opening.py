"""The opening between the lids of one eye as two arcs in the folds of the relief show it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from ...geometry.views.depth_map import DepthMap, sampled
from ...geometry.views.relief import Relief

UP = np.array([0.0, 1.0])
_SATURATED = 0.35
"""A bend this sharp counts in full, 1/mm: a scanned lid edge is seldom sharper than a radius of 3 mm."""


@dataclass(frozen=True, eq=False)
class Opening:
    """A palpebral fissure seen from the front, across (to the sitter's left) and up, mm.

    `inner` and `outer` are the canthi, `top` and `bottom` the highest and lowest points of the margins; `upper` and
    `lower` (k, 2) run from the inner canthus to the outer. `strength` is how sharply the surface folds along the
    margins, against full sharpness; `contrast` that over the folds about the eye; `edges` how sharply the upper and the
    lower lid stand out beside the folds; `spread` how far the best trials still differ, mm; `unlike` how far this eye
    is from the other's mirror image, mm at a mean adult's size.
    """

    inner: NDArray[np.float64]
    outer: NDArray[np.float64]
    top: NDArray[np.float64]
    bottom: NDArray[np.float64]
    upper: NDArray[np.float64]
    lower: NDArray[np.float64]
    strength: float
    contrast: float
    spread: float
    edges: tuple[float, float]
    unlike: float

    @property
    def rimmed(self) -> float:
        """0 to 1: whether lids stand out beside both margins, as no crease over a lid has them."""
        return min(_rimmed(edge) for edge in self.edges)

    @property
    def rimmed_below(self) -> float:
        """0 to 1: whether the lower lid does. It shows where lashes and blur hide the upper one's margin."""
        return _rimmed(self.edges[1])


def _rimmed(edge: float) -> float:
    return float(np.clip((edge - 0.20) / 0.15, 0, 1))


def read_along(picture: NDArray[np.float64], depth: DepthMap, curves: NDArray[np.float64]) -> NDArray[np.float64]:
    """Mean of the picture along each curve, 0 to 1."""
    values = np.nan_to_num(sampled(picture, depth, curves[..., 0], curves[..., 1]))
    return np.asarray((values / _SATURATED).clip(0, 1).mean(axis=-1), dtype=np.float64)


def folds_between(
    upper: NDArray[np.float64], lower: NDArray[np.float64], depth: DepthMap, relief: Relief
) -> NDArray[np.float64]:
    """How sharply the surface folds between the margins, 0 to 1, for each trial."""
    folds = [read_along(relief.valley, depth, upper * share + lower * (1 - share)) for share in (0.25, 0.5, 0.75)]
    return np.asarray(np.mean(folds, axis=0), dtype=np.float64)


def open_eye(
    upper: NDArray[np.float64],
    lower: NDArray[np.float64],
    spread: float,
    depth: DepthMap,
    relief: Relief,
    unlike: float,
) -> Opening:
    """What (k, 2) arcs along both margins, from the inner to the outer canthus, come to once laid into the folds."""
    strength = float(read_along(relief.valley, depth, upper) + read_along(relief.valley, depth, lower)) / 2
    # Over the upper lid lies its crease, which says nothing against the margin.
    about = (
        float(folds_between(upper, lower, depth, relief)) + float(read_along(relief.valley, depth, lower - 3 * UP))
    ) / 2
    upper, lower = _into_the_fold(upper, depth, relief), _into_the_fold(lower, depth, relief)
    (over, above), (under, below) = _edge(upper, 1.0, depth, relief), _edge(lower, -1.0, depth, relief)
    inner = _corner(upper, lower, _BEYOND_INNER * (over + under) / 2)
    outer = _corner(upper[::-1], lower[::-1], _BEYOND_OUTER * (over + under) / 2)
    # The fold runs along the globe, the edge of the lid stands out beside it; the margin lies between the two.
    upper, lower = upper + over / 2 * UP, lower - under / 2 * UP
    return Opening(
        inner,
        outer,
        _peak(upper, 1.0),
        _peak(lower, -1.0),
        np.vstack([inner, upper[1:-1], outer]),
        np.vstack([inner, lower[1:-1], outer]),
        strength,
        strength / (strength + about + 0.02),
        spread,
        (above, below),
        unlike,
    )


def shut_eye(line: NDArray[np.float64], spread: float, depth: DepthMap, relief: Relief, unlike: float) -> Opening:
    """The same of the (k, 2) line in which closed lids meet."""
    strength = float(read_along(relief.valley, depth, line))
    about = float(read_along(relief.valley, depth, line + 3 * UP) + read_along(relief.valley, depth, line - 3 * UP)) / 2
    line = _into_the_fold(line, depth, relief)
    (_, above), (_, below) = _edge(line, 1.0, depth, relief), _edge(line, -1.0, depth, relief)
    # An open eye's lower lid stands out under its fold, a shut eye's upper one over it.
    sharp = above - max(below - above, 0.0)
    peak = _peak(line, -1.0)
    contrast = strength / (strength + about + 0.02)
    return Opening(line[0], line[-1], peak, peak, line, line, strength, contrast, spread, (sharp, sharp), unlike)


def _into_the_fold(curve: NDArray[np.float64], depth: DepthMap, relief: Relief) -> NDArray[np.float64]:
    """The curve moved up or down, smoothly and by no more than 1.2 mm, to where the surface folds most."""
    shifts = np.linspace(-1.2, 1.2, 25)
    tried = curve[:, None] + shifts[:, None] * np.array([0.0, 1.0])
    folds = np.nan_to_num(sampled(relief.valley, depth, tried[..., 0], tried[..., 1])) + 1e-6 * (1 - np.abs(shifts))
    weights = folds**4
    moves = (weights * shifts).sum(axis=1) / weights.sum(axis=1)
    moves[[0, -1]] = 0.0
    return curve + np.outer(ndimage.gaussian_filter1d(moves, 1.5, mode="nearest"), [0.0, 1.0])


def _edge(curve: NDArray[np.float64], outward: float, depth: DepthMap, relief: Relief) -> tuple[float, float]:
    """How far the lid's edge stands beside the fold, mm, 0 where none can be told; and how sharp it is, 0 to 1."""
    steps = np.arange(0.4, 4.2, 0.1)
    middle = curve[6:-6, None] + steps[:, None] * outward * UP
    edges = np.nan_to_num(sampled(relief.ridge, depth, middle[..., 0], middle[..., 1])).mean(axis=0)
    best = int(np.argmax(edges))
    sharp = min(float(edges[best]) / _SATURATED, 1.0)
    return (float(steps[best]) if 0 < best < len(steps) - 1 and sharp > 0.15 else 0.0), sharp


_BEYOND_INNER, _BEYOND_OUTER = 0.9, 0.5
"""How much of what the edges stand beside the folds the canthi lie beyond where the folds meet: more at the nose, where
the caruncle lies before them, less at the temple, where the lids turn away. Set by eye and on demo heads 0 to 22."""


def _corner(upper: NDArray[np.float64], lower: NDArray[np.float64], edge: float) -> NDArray[np.float64]:
    """Where the lids meet, beyond where their folds do by what the edges stand beside the folds."""
    apart = (upper[4, 1] - lower[4, 1]) / 2
    middle = (upper[4] + lower[4]) / 2
    along = upper[0] - middle
    length = float(np.linalg.norm(along))
    beyond = edge * length / max(apart, 0.5 * length)
    return np.asarray(upper[0] + along / length * min(beyond, 3.0))


_PEAK_AT = {1.0: 0.50, -1.0: 0.60}
"""Where the lids' peaks lie from the inner canthus to the outer: the upper just nasal to the pupil's centre, the lower
just temporal (doi 10.1007/978-3-319-23270-6_1), the pupil at 0.55 (our reading)."""


def _peak(curve: NDArray[np.float64], sign: float) -> NDArray[np.float64]:
    """The peak of a margin, upper for sign +1, lower for -1.

    A lid is nearly flat there, so the place along it is taken between the middle of the flat stretch and, counted
    twice, where peaks commonly lie.
    """
    share = np.linspace(0.0, 1.0, 201)
    order = np.argsort(curve[:, 0] * np.sign(curve[-1, 0] - curve[0, 0]))
    across = curve[0, 0] + share * (curve[-1, 0] - curve[0, 0])
    rising = np.sign(curve[-1, 0] - curve[0, 0])
    level = np.interp(rising * across, rising * curve[order, 0], curve[order, 1])
    flat = sign * level > (sign * level).max() - 0.2
    at = (share[flat].mean() + 2.0 * _PEAK_AT[sign]) / 3.0
    return np.array([np.interp(at, share, across), np.interp(at, share, level)])
