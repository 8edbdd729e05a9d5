"""The hair of a brow as strokes: locks that rise from the skin, lie down along the brow and run out."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RegularGridInterpolator

from ...geometry.errors import NotPossible
from ...geometry.raising.ridges import Ridge
from ...geometry.views.unrolled import Unrolled
from .brow_guides import BrowGuide

# Which way the hair runs, degrees up from the brow's own line towards its tail: at the head it stands nearly upright
# and leans out, in the body it runs outwards, the lower rows rising and the upper rows falling so that they meet along
# the middle, and at the tail all of it follows the line. So texts on brow transplantation have it (Klingbeil and Fertig
# 2018, J Clin Aesthet Dermatol 11(6):21); from memory. The figures: common practice, no source.
_ALONG = (0.0, 0.08, 0.2, 0.4, 0.7, 1.0)
_RISE = (82.0, 66.0, 40.0, 20.0, 6.0, -2.0)
_MEETING = (4.0, 8.0, 16.0, 25.0, 22.0, 10.0)
"""By how much the lowest row rises more than that, and the uppermost less."""
_LENGTHS = (0.62, 0.85, 1.0, 1.0, 0.92, 0.7)
_THICK = (0.45, 0.8, 1.0, 1.0, 0.75, 0.42)
"""Share of length and of closeness along the brow: fewer and shorter hairs at the head, a tail that thins out."""
_SHORTEST, _NARROWEST = 5.0, 0.5  # mm of a brow that takes strokes at all
_STEP = 0.25  # mm between the points of a stroke
_JITTER = 6.0  # degrees, one standard deviation, by which a stroke leaves its neighbours
_WAVER = 6.0  # degrees by which whole tufts do, over a few millimetres


@dataclass(frozen=True)
class BrowHair:
    """What the strokes are to be, life size: `width` of the narrowest clump, mm; `height` at its middle and `length`
    of the longest; `density` clumps a square centimetre where the brow is thickest; `taper` share of the width left at
    the tip, never under `least`.
    """

    width: float
    height: float
    length: float
    density: float
    taper: float
    least: float


def strokes(guide: BrowGuide, patch: Unrolled, hair: BrowHair, seed: int) -> list[Ridge]:
    """The clumps of one brow, lying on the surface.

    Parameters
    ----------
    guide : the brow's edges, life size
    patch : the unrolled surface round it
    hair : what they are to be
    seed : the same seed gives the same strokes

    Raises
    ------
    NotPossible
        Edges that leave no room between them, or run the wrong way.

    Notes
    -----
    Places are drawn one after the other, each far enough from those before it, as close as the brow is thick there.
    """
    sheet = _Sheet.of(guide, patch)
    if sheet.length < _SHORTEST or sheet.breadth < _NARROWEST or (sheet.upper - sheet.lower)[:, 1].mean() <= 0:
        raise NotPossible(
            f"brows: the edges enclose {sheet.length:.1f} by {sheet.breadth:.1f} mm at life size, or the upper one "
            "lies under the lower: draw both from the nose outwards"
        )
    rng = np.random.default_rng(seed)
    waver = _waver(rng)
    made = []
    for along, over in _roots(sheet, hair, rng):
        line = _streamline(sheet, hair, along, over, waver, rng)
        places = patch.places(line)
        if len(line) < 4 or not np.isfinite(places).all():
            continue
        made.append(_clump(places, hair, along, over, rng))
    if not made:
        raise NotPossible("brows: not one stroke lies on the head between the edges: draw them on the skin")
    return made


@dataclass(frozen=True, eq=False)
class _Sheet:
    """The brow as a strip: (k, 2) lower and upper edge on the unrolled patch at equal steps from head to tail."""

    lower: NDArray[np.float64]
    upper: NDArray[np.float64]
    length: float
    breadth: float

    @classmethod
    def of(cls, guide: BrowGuide, patch: Unrolled) -> "_Sheet":
        """The strip between a guide's edges."""
        lower, upper = (_evenly(patch.flat(edge), 101) for edge in (guide.lower, guide.upper))
        middle = (lower + upper) / 2
        length = float(np.linalg.norm(np.diff(middle, axis=0), axis=1).sum())
        return cls(lower, upper, length, float(np.linalg.norm(upper - lower, axis=1).mean()))

    def at(self, along: float, over: float) -> NDArray[np.float64]:
        """(2,) place at `along` 0 to 1 from head to tail and `over` -1 to 1 from lower to upper edge."""
        low, high = (np.array([np.interp(along * 100, np.arange(101), edge[:, k]) for k in (0, 1)])
                     for edge in (self.lower, self.upper))  # fmt: skip
        place: NDArray[np.float64] = low + (high - low) * (over + 1) / 2
        return place

    def axes(self, along: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Unit vectors along the brow towards its tail, and over it towards its upper edge."""
        here, there = self.at(max(along - 0.04, 0.0), 0.0), self.at(min(along + 0.04, 1.0), 0.0)
        way = (there - here) / np.linalg.norm(there - here)
        up = np.array([-way[1], way[0]])
        over = self.at(along, 1.0) - self.at(along, -1.0)
        return way, up if up @ over >= 0 else -up


def _roots(sheet: _Sheet, hair: BrowHair, rng: np.random.Generator) -> list[tuple[float, float]]:
    """Where the clumps stand, as (along, over)."""
    grid = np.linspace(0.005, 0.995, 199)
    breadth = np.linalg.norm(sheet.upper - sheet.lower, axis=1)
    weight = np.interp(grid, _ALONG, _THICK) * np.interp(grid * 100, np.arange(101), breadth)
    wanted = hair.density / 100 * float(weight.mean()) * sheet.length
    apart = 0.72 * 10 / np.sqrt(hair.density)  # of points drawn at random no closer than this, 1.3 times as many fit
    chosen: list[tuple[float, float]] = []
    places = np.zeros((0, 2))
    for along in rng.choice(grid, 60 * max(1, round(wanted)), p=weight / weight.sum()):
        # fewer near the edges, so that these are feathered and not cut
        over = float(np.clip(rng.triangular(-1.15, 0.0, 1.15) * 0.35 + rng.uniform(-1, 1) * 0.72, -1.05, 1.05))
        here = sheet.at(along, over)
        gap = apart / np.sqrt(np.interp(along, _ALONG, _THICK))
        if len(places) and np.linalg.norm(places - here, axis=1).min() < gap:
            continue
        chosen.append((float(along), over))
        places = np.vstack([places, here])
        if len(chosen) >= wanted:
            break
    return chosen


def _streamline(
    sheet: _Sheet,
    hair: BrowHair,
    along: float,
    over: float,
    waver: RegularGridInterpolator,
    rng: np.random.Generator,
) -> NDArray[np.float64]:
    """(k, 2) the stroke's middle line on the patch, from its root to its tip."""
    length = hair.length * float(np.interp(along, _ALONG, _LENGTHS)) * rng.uniform(0.6, 1.05) * (1 - 0.3 * abs(over))
    lean = rng.normal(0.0, _JITTER)
    place, line = sheet.at(along, over), []
    breadth = max(float(np.linalg.norm(sheet.at(along, 1) - sheet.at(along, -1))), 0.5)
    for _ in range(max(4, round(length / _STEP))):
        line.append(place)
        way, up = sheet.axes(along)
        bend = np.interp(along, _ALONG, _RISE) - np.interp(along, _ALONG, _MEETING) * np.clip(over, -1.2, 1.2)
        angle = np.radians(bend + lean + float(waver([along, over / 2])[0]))
        move = _STEP * (np.cos(angle) * way + np.sin(angle) * up)
        place = place + move
        along = float(np.clip(along + (move @ way) / sheet.length, 0.0, 1.0))
        over += 2 * (move @ up) / breadth
    return np.array(line)


def _clump(places: NDArray[np.float64], hair: BrowHair, along: float, over: float, rng: np.random.Generator) -> Ridge:
    """A stroke's places with its width and height at each: rising from the skin, widest early, running out."""
    at = np.linspace(0.0, 1.0, len(places))
    middle = hair.width * (1.0 + 1.3 * rng.beta(1.3, 3.0) * (1.0 - 0.4 * abs(over)))  # mostly narrow, a few broad
    tip = max(hair.least, hair.taper * middle)
    width = np.interp(
        at, [0.0, 0.25, 0.55, 1.0], [max(hair.least, 0.8 * middle), middle, max(hair.least, 0.95 * middle), tip]
    )
    high = hair.height * rng.uniform(0.7, 1.15) * (0.6 + 0.4 * np.interp(along, _ALONG, _THICK))
    rise = np.interp(at, [0.0, 0.18, 0.5, 0.72, 1.0], [0.15, 0.7, 1.0, 0.9, 0.0])
    return Ridge(places, width / 2, high * rise)


def _waver(rng: np.random.Generator) -> RegularGridInterpolator:
    """Degrees by which tufts leave the general way, over (along, over / 2)."""
    along, over = np.linspace(0, 1, 12), np.linspace(-1, 1, 5)
    return RegularGridInterpolator((along, over), rng.normal(0.0, _WAVER, (12, 5)), bounds_error=False, fill_value=0.0)


def _evenly(line: NDArray[np.float64], count: int) -> NDArray[np.float64]:
    """(count, 2) points at equal steps along an open line."""
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    steps = np.linspace(0.0, along[-1], count)
    return np.stack([np.interp(steps, along, column) for column in line.T], axis=1)
