"""Where both eyes open on a face seen from the front: arcs of eight numbers laid into the folds of the relief."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...geometry.views.depth_map import DepthMap
from ...geometry.views.relief import Relief
from .lid_opening import UP, Opening, folds_between, open_eye, read_along, shut_eye

_ARC = np.linspace(0.0, 1.0, 25)
_ROUNDS = 9
_TRIED = 3000
_KEPT = 120

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
        upper, lower = (arc[0] for arc in _arcs(fit.found[None], self.side))
        spread = float(fit.spread[:3].max())
        if self.shut:
            return shut_eye(lower, spread, self.depth, self.relief, unlike)
        return open_eye(upper, lower, spread, self.depth, self.relief, unlike)


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
    folds = (read_along(relief.valley, depth, upper) + read_along(relief.valley, depth, lower)) / 2
    edges = (read_along(relief.ridge, depth, upper + outward) + read_along(relief.ridge, depth, lower - outward)) / 2
    return np.asarray(folds + 0.4 * edges - 0.4 * folds_between(upper, lower, depth, relief), dtype=np.float64)


def _worth_shut(tried: NDArray[np.float64], depth: DepthMap, relief: Relief, side: float) -> NDArray[np.float64]:
    _, line = _arcs(tried, side)
    edge = np.mean([read_along(relief.ridge, depth, line + rise * UP) for rise in (1.5, 2.5)], axis=0)
    near = np.mean([read_along(relief.valley, depth, line + rise * UP) for rise in (-3.0, 3.0)], axis=0)
    return np.asarray(read_along(relief.valley, depth, line) + 0.8 * edge - 0.4 * near, dtype=np.float64)
