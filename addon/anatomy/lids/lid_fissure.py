"""The fissure as a curve on the plane of the lids: found, drawn by hand, or shaped to what is asked. Life size.

Places are those of the plane that `lid_form` lays the lids out on; sizes are taken on the lids themselves.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from ...geometry.angles import arc_tangent
from ...geometry.errors import NotPossible
from .lid_form import LidForm

_LAKE = 0.9  # mm, half the height of the fissure beside the caruncle
_NEAR = 0.02  # mm: how near the lids must come to the length and height asked for
_ROUNDS = 8
_SEEN_SPREAD, _STRETCHES = 0.25, 8  # mm at least, and in how many stretches of a margin that is independent
_PEAKED = 0.5  # how lids lean: the upper one peaks just nasal, the lower just temporal (reference_values.md, section 1)
_PARABOLA_SPREADS = np.array([0.6, 2.0])  # how far people's lids are from that, against their bow (demo heads)
_LEAST_PART = 0.3  # of its bow that a lid keeps everywhere


@dataclass(frozen=True)
class FissureWishes:
    """What is asked of a fissure: mm at life size, radians; 0 leaves it as found.

    `length` from corner to corner and `height` from margin to margin, both straight, as calipers take them;
    `aperture` a factor on the height; `upper_peak` and `lower_peak` how far along from inner to outer corner each
    lid is farthest from the line between them, 0 to 1; `tilt` how much more than found the outer corner is raised.
    """

    length: float = 0.0
    height: float = 0.0
    aperture: float = 1.0
    upper_peak: float = 0.0
    lower_peak: float = 0.0
    tilt: float = 0.0


@dataclass(frozen=True)
class FissureSize:
    """Length, height and tilt (radians, outer corner up) of a fissure as it lies on the lids."""

    length: float
    height: float
    tilt: float


def fissure_size(margin: NDArray[np.float64]) -> FissureSize:
    """The size of a closed (k, 3) margin in the posed frame, from its inner corner along the upper lid and back.

    The first half of its points belongs to the upper lid, the second begins at the outer corner. The height is the
    largest straight distance of the lids across from each other along the line of the corners.
    """
    half = len(margin) // 2
    inner, outer = margin[0], margin[half]
    chord = outer - inner
    steps = np.linspace(0.0, 1.0, 200)
    lids = []
    for lid in (margin[: half + 1], np.concatenate([margin[:1], margin[half:][::-1]])):
        share = np.maximum.accumulate((lid - inner) @ chord / (chord @ chord))
        lids.append(np.column_stack([np.interp(steps, share, column) for column in lid.T]))
    apart = float(np.linalg.norm(lids[0] - lids[1], axis=1).max())
    return FissureSize(float(np.linalg.norm(chord)), apart, float(arc_tangent(chord[2:], np.abs(chord[:1]))[0]))


def as_asked(
    form: LidForm, wishes: FissureWishes, found: FissureSize, on_lids: Callable[[LidForm], NDArray[np.float64]]
) -> LidForm:
    """The form with its fissure as asked; what is not asked comes out as it was found.

    Parameters
    ----------
    form, wishes : as found, and what is wanted of it
    found : the fissure as found
    on_lids : gives the (k, 3) margin of a form as it comes out on the lids
    """
    form = _tilted(_peaked(form, wishes), wishes.tilt)
    length, height = wishes.length or found.length, (wishes.height or found.height) * wishes.aperture
    for _ in range(_ROUNDS):
        size = fissure_size(on_lids(form))
        if abs(size.length - length) < _NEAR and abs(size.height - height) < _NEAR:
            break
        form = _stretched(form, length / size.length, height / size.height)
    return form


def _stretched(form: LidForm, longer: float, taller: float) -> LidForm:
    """The form with its fissure drawn out along the line of its corners and across it."""
    share, up = form.along(form.margin)
    middle = (form.inner + form.outer) / 2
    inner, outer = middle + longer * (form.inner - middle), middle + longer * (form.outer - middle)
    return replace(form, margin=_laid(share, taller * up, inner, outer), inner=inner, outer=outer)


def _peaked(form: LidForm, wishes: FissureWishes) -> LidForm:
    """The form with the peaks of its lids moved along them."""
    share, up = form.along(form.margin)
    half = len(share) // 2
    for peak, lid in ((wishes.upper_peak, slice(1, half)), (wishes.lower_peak, slice(half + 1, None))):
        if peak:
            now = float(share[lid][np.argmax(np.abs(up[lid]))])
            # A power keeps both corners where they are and takes the peak to its new place.
            share[lid] = np.clip(share[lid], 0.0, 1.0) ** (np.log(peak) / np.log(now))
    return replace(form, margin=_laid(share, up, form.inner, form.outer))


def _tilted(form: LidForm, angle: float) -> LidForm:
    """The form with its fissure turned about the middle of its corners, the outer one up."""
    middle = (form.inner + form.outer) / 2
    angle = angle if form.outer[0] > form.inner[0] else -angle
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    margin, inner, outer = (middle + (each - middle) @ turn.T for each in (form.margin, form.inner, form.outer))
    return replace(form, margin=margin, inner=inner, outer=outer)


def _laid(
    share: NDArray[np.float64], up: NDArray[np.float64], inner: NDArray[np.float64], outer: NDArray[np.float64]
) -> NDArray[np.float64]:
    """(k, 2) places at shares of the way between the corners and heights over it."""
    chord = outer - inner
    normal = np.array([-chord[1], chord[0]]) / np.linalg.norm(chord)
    normal = normal if normal[1] > 0 else -normal
    return np.asarray(inner + share[:, None] * chord + up[:, None] * normal)


def drawn_margin(upper: NDArray[np.float64], lower: NDArray[np.float64], count: int) -> NDArray[np.float64]:
    """The fissure through points drawn on both margins.

    Parameters
    ----------
    upper, lower : (n, 2) and (m, 2) points from the inner corner to the outer; the first and last are the corners
    count : points asked for

    Returns
    -------
    (count, 2) closed curve as `fissure_margin` gives it.
    """
    inner, outer = (upper[0] + lower[0]) / 2, (upper[-1] + lower[-1]) / 2
    chord = outer - inner
    length = float(np.linalg.norm(chord))
    normal = np.array([-chord[1], chord[0]]) / length * (1.0 if chord[0] > 0 else -1.0)
    ticks = 0.5 - 0.5 * np.cos(np.linspace(0.0, np.pi, 400))
    lids = []
    for sign, lid in ((1.0, upper), (-1.0, lower)):
        share = np.concatenate([[0.0], (lid[1:-1] - inner) @ chord / length**2, [1.0]])
        height = np.concatenate([[0.0], (lid[1:-1] - inner) @ normal, [0.0]])
        order = np.argsort(share)
        # In half-turns about the middle the steep rise at both corners is an even slope, which a spline follows.
        around = np.arccos(np.clip(1 - 2 * share[order], -1.0, 1.0))
        heights = PchipInterpolator(around, height[order])(np.arccos(1 - 2 * ticks))
        heights = np.where(sign * heights > 0, heights, sign * 1e-3 * np.sin(np.pi * ticks))
        lids.append(inner + ticks[:, None] * chord + heights[:, None] * normal)
    return np.concatenate([_even(lids[0], count // 2), _even(lids[1][::-1], count - count // 2)])


def fissure_margin(
    seen: NDArray[np.float64], inner: NDArray[np.float64], outer: NDArray[np.float64], count: int
) -> NDArray[np.float64]:
    """The whole fissure, both corners included, as an almond through what was seen of its margins.

    Parameters
    ----------
    seen : (n, 2) margin seen on the globe; near the inner corner it follows the caruncle and is not used
    inner, outer : (2,) corners
    count : points asked for

    Returns
    -------
    (count, 2) closed curve from the inner corner along the upper lid to the outer corner and back, at even steps.
    """
    chord = outer - inner
    length = float(np.linalg.norm(chord))
    way = chord / length
    normal = np.array([-way[1], way[0]]) * (1.0 if way[0] > 0 else -1.0)
    share, up = (seen - inner) @ way / length, (seen - inner) @ normal
    steps = np.roll(seen, -1, axis=0) - np.roll(seen, 1, axis=0)
    level = np.abs(steps @ way) > np.abs(steps @ normal)  # the rest closes the curve where no globe is seen, or jumps
    lids = []
    ticks = 0.5 - 0.5 * np.cos(np.linspace(0.0, np.pi, 400))
    for sign in (1.0, -1.0):
        use = level & (sign * up > 0) & (share > 0.2) & (share < 0.9)
        if not use.any():
            raise NotPossible("both lid margins lie on one side of their corners: check the landmarks of the lids")
        heights = _almond_through(share[use], sign * up[use], ticks, -sign * _PEAKED)
        heights = (heights**4 + _lake(ticks) ** 4) ** 0.25
        lids.append(inner + ticks[:, None] * chord + (sign * heights)[:, None] * normal)
    return np.concatenate([_even(lids[0], count // 2), _even(lids[1][::-1], count - count // 2)])


def _almond_through(
    share: NDArray[np.float64], height: NDArray[np.float64], ticks: NDArray[np.float64], peaked: float
) -> NDArray[np.float64]:
    """(m,) heights at ticks of the almond nearest to (n,) heights at shares of the way between the corners.

    A bow that ends in both corners, drawn out at the inner one, times a parabola. This is held near its usual form,
    rising by `peaked` of its middle along the fissure, the more so the less what was seen agrees with it: it may be a
    lash or a crease. It never comes near nothing, so that the lids part all the way.
    """
    terms = (share[:, None] - 0.5) ** np.arange(3)
    seen = _bow(share)[:, None] * terms
    usual = float(np.median(height / _bow(share)))
    form = usual * np.array([1.0, peaked, 0.0])
    off = max(_SEEN_SPREAD, float(np.sqrt(np.mean((seen @ form - height) ** 2))))
    hold = np.sqrt(len(share) / _STRETCHES) * off / (_PARABOLA_SPREADS * usual)
    rows = np.concatenate([seen, np.column_stack([np.zeros(2), np.diag(hold)])])
    weights = np.linalg.lstsq(rows, np.append(height, hold * form[1:]), rcond=None)[0]
    parabola = np.maximum((ticks[:, None] - 0.5) ** np.arange(3) @ weights, 0.0)
    return np.asarray(_bow(ticks) * (parabola**4 + (_LEAST_PART * usual) ** 4) ** 0.25)


def _bow(share: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n,) a quarter of an arc between the corners, drawn out at the inner one."""
    return np.asarray(share**1.05 * (1 - share) ** 0.9)


def _lake(share: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n,) least half height of the fissure: the margins part round the caruncle and end there in a small bow."""
    way = np.clip(share / 0.1, 0.0, 1.0)
    return np.asarray(_LAKE * np.sqrt(way * (2 - way)) * np.sqrt(1 - share))


def _even(line: NDArray[np.float64], count: int) -> NDArray[np.float64]:
    """(count, 2) points at even steps along an open line, its last point left out."""
    along = np.append(0.0, np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1)))
    steps = np.linspace(0.0, along[-1], count + 1)[:-1]
    return np.column_stack([np.interp(steps, along, column) for column in line.T])
