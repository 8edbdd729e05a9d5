"""The opening between the lids on a face seen from the front: two arcs laid into the folds of the relief."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from ...geometry.views.depth_map import DepthMap, sampled
from ...geometry.views.relief import Relief

_ARC = np.linspace(0.0, 1.0, 25)
_UP = np.array([0.0, 1.0])
_ROUNDS = 9
_TRIED = 3000
_KEPT = 120
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


# What is tried: inner canthus (x, z), length, tilt, height of the upper arc over the chord and its peak's place along
# it, the same for the lower arc. Means for a mean adult's size; spreads as wide as a mean face laid by a few mm wrong.
# Fissure 27.1 +- 1.5 by 9.7 +- 1.2 (Read et al. 2006), tilt 4 degrees (reference_values.md section 1).
_MEAN = np.array([16.5, 17.5, 27.5, 0.06, 5.2, 0.45, 4.6, 0.55])
_SPREAD = np.array([3.0, 5.0, 2.5, 0.08, 2.0, 0.08, 1.6, 0.08])
_LEAST = np.array([8.0, 0.0, 20.0, -0.30, 0.5, 0.25, 0.2, 0.25])
_MOST = np.array([26.0, 36.0, 37.0, 0.40, 11.0, 0.70, 9.0, 0.75])
_LENGTHS = np.array([1, 1, 1, 0, 1, 0, 1, 0], dtype=bool)


def find_openings(depth: DepthMap, relief: Relief, size: float, shut: bool = False) -> tuple[Opening, Opening]:
    """The openings of the sitter's left and right eye.

    Parameters
    ----------
    depth, relief : the face from the front, posed, origin as in the posed frame of a mean adult of this size
    size : the face against a mean adult's
    shut : look for closed lids, both margins one line

    Returns
    -------
    Left and right Opening; always the best there are: look at `strength`, `contrast`, `spread` and `unlike`.

    Notes
    -----
    Cross-entropy search (Rubinstein 1999, doi 10.1023/A:1010091220143) from the published proportions, which only
    steer it: the arcs are paid for lying in folds, with the lids standing out beside them and no fold between them.
    Shut lids meet in one fold under the edge of the upper lid, with no other fold near.
    Each eye is also looked for where its twin lies, and with its upper margin below the fold that was taken for it: a
    lid's crease may fold more sharply than its margin, but has no edge. The two that go together best are kept.
    """
    scale = np.where(_LENGTHS, size, 1.0)
    views = [_View(depth, relief, side, scale, shut) for side in (1.0, -1.0)]
    alone = [view.searched(_MEAN * scale, _SPREAD * scale, _ROUNDS) for view in views]
    near = _NEAR_TWIN * scale
    choices = [[alone[here], views[here].searched(alone[1 - here].found, near, _ROUNDS - 3)] for here in (0, 1)]
    if not shut:
        for view, some in zip(views, choices, strict=True):
            some += [view.searched(fit.found - _CREASE * scale, near, _ROUNDS - 3, fit.found) for fit in some[:2]]
    told = [
        [(fit, fit.worth + _RIM * view.opening(fit, 0.0).rimmed) for fit in some]
        for view, some in zip(views, choices, strict=True)
    ]
    both = [
        (one + two - 0.02 * _unlike(left, right, size) ** 2, left, right)
        for left, one in told[0]
        for right, two in told[1]
    ]
    _, left, right = max(both, key=lambda choice: choice[0])
    unlike = _unlike(left, right, size)
    return views[0].opening(left, unlike), views[1].opening(right, unlike)


_NEAR_TWIN = np.array([1.5, 2.0, 1.5, 0.05, 1.2, 0.06, 1.0, 0.06])
_LEVEL, _HIGH = 1, 4
_CREASE = np.array([0.0, 0.0, 0.0, 0.0, 3.0, 0.0, 0.0, 0.0])  # so far under a crease the margin is first looked for
_RIM = 0.2  # what lids that stand out beside their margins are worth


@dataclass(frozen=True, eq=False)
class _Fit:
    found: NDArray[np.float64]
    spread: NDArray[np.float64]
    worth: float


def _unlike(left: _Fit, right: _Fit, size: float) -> float:
    """How far two openings are from each other's mirror image, mm at a mean adult's size."""
    ends = np.array([np.vstack([arc[0, [0, 12, -1]] for arc in _arcs(fit.found[None], 1.0)]) for fit in (left, right)])
    return float(np.sqrt(((ends[0] - ends[1]) ** 2).sum(axis=1).mean())) / size


@dataclass(frozen=True, eq=False)
class _View:
    """One eye's side of the face."""

    depth: DepthMap
    relief: Relief
    side: float
    scale: NDArray[np.float64]
    shut: bool

    def searched(
        self,
        mean: NDArray[np.float64],
        spread: NDArray[np.float64],
        rounds: int,
        crease: NDArray[np.float64] | None = None,
    ) -> _Fit:
        """The best arcs about `mean`, looked for as wide as `spread` to begin with, the upper one under a `crease`."""
        most = _MOST * self.scale
        if crease is not None:
            most[_HIGH] = max(crease[_HIGH] - 0.6 * _CREASE[_HIGH] * self.scale[_HIGH], 1.0)
            most[_LEVEL] = min(most[_LEVEL], crease[_LEVEL])  # nor may all of it only be moved up
        rng = np.random.default_rng(0)
        for turn in range(rounds):
            tried = rng.normal(mean, spread, (_TRIED if turn else 3 * _TRIED, len(mean)))
            tried = tried.clip(_LEAST * self.scale, most)
            tried[0] = mean
            worth = self.worth(tried)
            best = tried[np.argsort(-worth)[: _KEPT if turn else 2 * _KEPT]]
            mean, spread = best.mean(axis=0), best.std(axis=0) + 1e-3
        return _Fit(mean, spread, float(self.worth(mean[None])[0]))

    def worth(self, tried: NDArray[np.float64]) -> NDArray[np.float64]:
        """What each trial is worth: the look of it, less what is unusual about it."""
        unusual = (((tried - _MEAN * self.scale) / (_SPREAD * self.scale)) ** 2).sum(axis=1)
        look = _worth_shut if self.shut else _worth
        return np.asarray(look(tried, self.depth, self.relief, self.side) - 0.010 * unusual)

    def opening(self, fit: _Fit, unlike: float) -> Opening:
        """The opening of these arcs, laid into the folds."""
        found = _opening_shut if self.shut else _opening
        return found(fit, self.depth, self.relief, self.side, unlike)


def _arcs(tried: NDArray[np.float64], side: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """(n, k, 2) upper and lower margins of each trial."""
    x, z, length, tilt, high, high_at, low, low_at = tried.T[:, :, None]
    along = length * _ARC
    level = z + along * np.sin(tilt)
    across = side * (x + along * np.cos(tilt))
    curves = [
        np.stack([np.broadcast_to(across, level.shape), level + sign * height * _hump(peak)], axis=2)
        for sign, height, peak in ((1.0, high, high_at), (-1.0, low, low_at))
    ]
    return curves[0], curves[1]


def _hump(peak: NDArray[np.float64]) -> NDArray[np.float64]:
    """0 at both ends of the arc, 1 at its peak."""
    bent = _ARC ** (np.log(0.5) / np.log(peak))
    return np.asarray(4.0 * bent * (1.0 - bent), dtype=np.float64)


def _worth(tried: NDArray[np.float64], depth: DepthMap, relief: Relief, side: float) -> NDArray[np.float64]:
    upper, lower = _arcs(tried, side)
    outward = np.array([0.0, 1.3])
    folds = (_read(relief.valley, depth, upper) + _read(relief.valley, depth, lower)) / 2
    edges = (_read(relief.ridge, depth, upper + outward) + _read(relief.ridge, depth, lower - outward)) / 2
    return np.asarray(folds + 0.4 * edges - 0.4 * _between(upper, lower, depth, relief), dtype=np.float64)


def _between(
    upper: NDArray[np.float64], lower: NDArray[np.float64], depth: DepthMap, relief: Relief
) -> NDArray[np.float64]:
    """How sharply the surface folds between the margins, 0 to 1, for each trial."""
    folds = [_read(relief.valley, depth, upper * share + lower * (1 - share)) for share in (0.25, 0.5, 0.75)]
    return np.asarray(np.mean(folds, axis=0), dtype=np.float64)


def _worth_shut(tried: NDArray[np.float64], depth: DepthMap, relief: Relief, side: float) -> NDArray[np.float64]:
    _, line = _arcs(tried, side)
    edge = np.mean([_read(relief.ridge, depth, line + rise * _UP) for rise in (1.5, 2.5)], axis=0)
    near = np.mean([_read(relief.valley, depth, line + rise * _UP) for rise in (-3.0, 3.0)], axis=0)
    return np.asarray(_read(relief.valley, depth, line) + 0.8 * edge - 0.4 * near, dtype=np.float64)


def _read(picture: NDArray[np.float64], depth: DepthMap, curves: NDArray[np.float64]) -> NDArray[np.float64]:
    """Mean of the picture along each curve, 0 to 1."""
    values = np.nan_to_num(sampled(picture, depth, curves[..., 0], curves[..., 1]))
    return np.asarray((values / _SATURATED).clip(0, 1).mean(axis=-1), dtype=np.float64)


def _opening(fit: _Fit, depth: DepthMap, relief: Relief, side: float, unlike: float) -> Opening:
    upper, lower = (arc[0] for arc in _arcs(fit.found[None], side))
    strength = float(_read(relief.valley, depth, upper) + _read(relief.valley, depth, lower)) / 2
    # Over the upper lid lies its crease, which says nothing against the margin.
    about = (float(_between(upper, lower, depth, relief)) + float(_read(relief.valley, depth, lower - 3 * _UP))) / 2
    upper, lower = _into_the_fold(upper, depth, relief), _into_the_fold(lower, depth, relief)
    (over, above), (under, below) = _edge(upper, 1.0, depth, relief), _edge(lower, -1.0, depth, relief)
    inner = _corner(upper, lower, _BEYOND_INNER * (over + under) / 2)
    outer = _corner(upper[::-1], lower[::-1], _BEYOND_OUTER * (over + under) / 2)
    # The fold runs along the globe, the edge of the lid stands out beside it; the margin lies between the two.
    upper, lower = upper + over / 2 * _UP, lower - under / 2 * _UP
    return Opening(
        inner,
        outer,
        _peak(upper, 1.0),
        _peak(lower, -1.0),
        np.vstack([inner, upper[1:-1], outer]),
        np.vstack([inner, lower[1:-1], outer]),
        strength,
        strength / (strength + about + 0.02),
        float(fit.spread[:3].max()),
        (above, below),
        unlike,
    )


def _opening_shut(fit: _Fit, depth: DepthMap, relief: Relief, side: float, unlike: float) -> Opening:
    line = _arcs(fit.found[None], side)[1][0]
    strength = float(_read(relief.valley, depth, line))
    about = float(_read(relief.valley, depth, line + 3 * _UP) + _read(relief.valley, depth, line - 3 * _UP)) / 2
    line = _into_the_fold(line, depth, relief)
    (_, above), (_, below) = _edge(line, 1.0, depth, relief), _edge(line, -1.0, depth, relief)
    # An open eye's lower lid stands out under its fold, a shut eye's upper one over it.
    sharp = above - max(below - above, 0.0)
    peak = _peak(line, -1.0)
    contrast = strength / (strength + about + 0.02)
    spread = float(fit.spread[:3].max())
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
    middle = curve[6:-6, None] + steps[:, None] * outward * _UP
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
