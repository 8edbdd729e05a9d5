"""What shows of the eye between its lids, and how both corners are filled beside it. Places of the plane of the lids.

In the inner corner lies the caruncle, before it a fold that ends on the globe; in the outer one the lids close over the
globe's flank. A print has a gap round the eye, so that both end in a wall: a low one, drawn in a soft bow.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from ...geometry.angles import arc_tangent
from ...geometry.curves import depth_inside

_ENDS = (1.9, 1.5)  # mm: radius of the bow in which what shows of the eye ends in the inner and the outer corner
_FARTHEST = (4.8, 2.6)  # mm from the corners to the bows, which are narrower rather than farther off
_WITHIN = 0.4  # of the fissure's length: the bow of a corner lies nearer to it than this
_SHARES, _HALVINGS = np.linspace(0.0, 1.0, 7), 3  # places tried between the lids, again and again closer together
_ROOMY = 0.7  # of the widest circle between the lids: no bow is wider


@dataclass(frozen=True, eq=False)
class Shown:
    """The (k, 2) closed curve round what shows of the eye, point for point beside the margin's.

    `square` holds (k, 2) unit ways square out of it, `outward` those that turn towards the margin in the corners, and
    `apart` the (k,) distance there; `narrowest` is the radius of its narrower end.
    """

    curve: NDArray[np.float64]
    square: NDArray[np.float64]
    outward: NDArray[np.float64]
    apart: NDArray[np.float64]
    narrowest: float


def shown_between(
    margin: NDArray[np.float64],
    inner: NDArray[np.float64],
    outer: NDArray[np.float64],
    middle: NDArray[np.float64],
    widest: float,
) -> Shown:
    """What shows of the eye.

    Parameters
    ----------
    margin : (k, 2) closed, from its inner corner over the outer one and back
    inner, outer : (2,) the corners
    middle, widest : (2,) place and distance from it beyond which nothing shows, however far round the globe lids reach
    """
    half, curve = len(margin) // 2, margin.copy()
    share = np.linspace(0.0, _WITHIN, 120)[:, None]
    lids = (margin[: half + 1], margin[(np.arange(len(margin), half - 1, -1)) % len(margin)])
    narrowest = np.inf
    for number, (corner, other, side) in enumerate(((inner, outer, 1), (outer, inner, -1))):
        # The circle between the lids that has that radius, nearest to the corner: it touches both of them. Where that
        # is too far round the globe, the first wider one.
        upper, lower = (_at(lid[::side], corner + share * (other - corner)) for lid in lids)
        middles, room = _between(upper, lower, margin)
        wide = min(_ENDS[number], _ROOMY * float(room.max()))
        far = np.linalg.norm(middles - corner, axis=1) - room > _FARTHEST[number]
        before = np.linalg.norm(middles - middle, axis=1) + room < widest
        at = int(np.argmax(before & ((room >= wide) | (far & (room > 0)))))
        centre, radius = middles[at], float(room[at])
        narrowest = min(narrowest, radius)
        touch = [int(np.argmin(np.linalg.norm(lid - centre, axis=1))) for lid in lids]
        run = np.arange(-touch[1], touch[0] + 1) if side > 0 else np.arange(touch[0], len(margin) - touch[1] + 1)
        run = run % len(margin)
        first, last = (_turn(margin[run[end]] - centre) for end in (0, -1))
        way = _turn(corner - centre)
        first, last = (way + (turn - way + np.pi) % (2 * np.pi) - np.pi for turn in (first, last))
        turns = np.linspace(first, last, len(run))
        curve[run] = centre + radius * np.column_stack([np.cos(turns), np.sin(turns)])
    curve = gaussian_filter1d(curve, 1.5, axis=0, mode="wrap")
    square = square_ways(curve, 2.0)
    way = margin - curve
    apart = np.linalg.norm(way, axis=1)
    turned = eased((apart - 0.3) / 0.7)[:, None]
    outward = (1 - turned) * square + turned * way / np.maximum(apart, 1e-9)[:, None]
    outward = gaussian_filter1d(outward, 2.0, axis=0, mode="wrap")
    outward /= np.linalg.norm(outward, axis=1, keepdims=True)
    return Shown(curve, square, outward, np.asarray((way * outward).sum(axis=1)), narrowest)


def _between(
    upper: NDArray[np.float64], lower: NDArray[np.float64], margin: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """(n, 2) places abreast that are farthest from both lids, and the (n,) radius of the circle that touches both."""
    low, high = np.zeros(len(upper)), np.ones(len(upper))
    for _ in range(_HALVINGS):
        steps = low + _SHARES[:, None] * (high - low)
        places = lower + steps[..., None] * (upper - lower)
        depths = depth_inside(places.reshape(-1, 2), margin).reshape(steps.shape)
        best = np.argmax(depths, axis=0)
        width = (high - low) / (len(_SHARES) - 1)
        middle = steps[best, np.arange(len(upper))]
        low, high = np.maximum(middle - width, 0.0), np.minimum(middle + width, 1.0)
    middles = lower + middle[:, None] * (upper - lower)
    return middles, np.asarray(depth_inside(middles, margin))


def square_ways(curve: NDArray[np.float64], even: float) -> NDArray[np.float64]:
    """(k, 2) unit ways square out of a closed (k, 2) curve, evened out over so many points."""
    along = gaussian_filter1d(np.roll(curve, -1, axis=0) - np.roll(curve, 1, axis=0), even, axis=0, mode="wrap")
    square = np.column_stack([along[:, 1], -along[:, 0]])
    square *= np.sign((square * (curve - curve.mean(axis=0))).sum(axis=1).mean())
    return np.asarray(square / np.linalg.norm(square, axis=1, keepdims=True))


def _at(lid: NDArray[np.float64], places: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n, 2) points of a lid's margin, (k, 2) from one corner to the other, abreast of places between the corners."""
    chord = lid[-1] - lid[0]
    share = np.maximum.accumulate((lid - lid[0]) @ chord)
    wanted = (places - lid[0]) @ chord
    return np.column_stack([np.interp(wanted, share, column) for column in lid.T])


def _turn(way: NDArray[np.float64]) -> float:
    """The turn of a (2,) way, radians."""
    return float(arc_tangent(way[1:], way[:1])[0])


def eased(share: NDArray[np.float64]) -> NDArray[np.float64]:
    """From 0 to 1 as the share does, level at both ends."""
    within = np.clip(share, 0.0, 1.0)
    return np.asarray(within * within * (3 - 2 * within))
