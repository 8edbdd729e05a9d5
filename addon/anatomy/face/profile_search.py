"""The midline landmarks, read off the profile: the cut of the face by its symmetry plane."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from ...geometry.angles import arc_tangent
from ...geometry.mesh import Mesh
from ...geometry.views.depth_map import depth_map

Found = dict[str, tuple[NDArray[np.float64], float]]
"""Landmark name to (3,) position and confidence."""

_PIXEL = 0.4
_CENTRE = np.array([-30.0, -10.0])
"""(y, z) the profile is seen from, for a mean adult, mm: inside the head, all of the profile in its sight."""

# Distance of a mean adult's profile from there: (degrees above the horizontal forward, mm); what lies far off it (a
# chest, the inside of the mouth) is no profile. From the places in `proportions`.
_MEAN_RADIUS = np.array(
    [(-85, 80), (-57, 102), (-40, 95), (-20, 80), (0, 88), (20, 76), (36, 80), (60, 100), (100, 138)]
)


@dataclass(frozen=True, eq=False)
class Profile:
    """The midline from under the chin to the crown: (n,) `forward` and `height`, mm, and the `bend` there.

    `bend` is the turning per mm, outward bends (nose tip) positive, inward ones (under the nose) negative. `places`
    (n, 3) are the same points unsmoothed, in the posed frame.
    """

    forward: NDArray[np.float64]
    height: NDArray[np.float64]
    bend: NDArray[np.float64]
    places: NDArray[np.float64]


def profile_of(head: Mesh, size: float) -> Profile:
    """The profile of a posed head.

    Parameters
    ----------
    head : Mesh in the posed frame, symmetry plane at x = 0
    size : the face against a mean adult's

    Returns
    -------
    Profile, NaN where nothing was seen.
    """
    centre = _CENTRE * size
    ahead, above = -(head.vertices[:, 1] - centre[0]), head.vertices[:, 2] - centre[1]
    radius, angle = np.hypot(ahead, above), arc_tangent(above, ahead)
    mean = np.interp(np.degrees(angle), *_MEAN_RADIUS.T) * size
    # The back of the head is left out: there the angle jumps from half a turn to minus half a turn.
    near = (np.abs(head.vertices[:, 0]) < 12.0) & (np.abs(angle) < np.radians(110))
    near &= (radius > 0.6 * mean) & (radius < 1.5 * mean)
    triangles = head.triangles[near[head.triangles].all(axis=1)]
    arc = 100.0 * size
    places = np.column_stack([head.vertices[:, 0], angle * arc, radius])
    low, high = np.radians(-80) * arc, np.radians(95) * arc
    seen = depth_map(places, triangles, (-1.2, low), (1.2, high), _PIXEL)
    some = seen.seen.sum(axis=1) >= 3
    middle = np.full(len(some), np.nan)
    middle[some] = np.nanmedian(seen.depths[some], axis=1)
    smooth = _smoothed(middle, 0.7 / _PIXEL)
    cosine, sine = np.cos(seen.up / arc), np.sin(seen.up / arc)
    forward, height = smooth * cosine - centre[0], smooth * sine + centre[1]
    places = np.column_stack([np.zeros(len(middle)), centre[0] - middle * cosine, centre[1] + middle * sine])
    return Profile(forward, height, _bend(forward, height), places)


def midline_landmarks(profile: Profile, size: float) -> Found:
    """Glabella, sellion, pronasale, subnasale, stomion and gnathion, as far as they can be told.

    Parameters
    ----------
    profile : Profile
    size : the face against a mean adult's; the windows looked in go with it

    Returns
    -------
    Name to (3,) position in the posed frame and confidence.
    """
    found: Found = {}
    height, forward, bend = profile.height, profile.forward, profile.bend
    tip = _highest(forward, _between(height, -42.0 * size, 4.0 * size))
    if tip is None:
        return found
    _add(found, "pronasale", profile, tip, _told(_drop(profile, tip, 8.0 * size), 0.4, 1.2))
    nose = height[tip]
    below = np.arange(len(height)) < tip
    root = _lowest(forward, _between(height, nose + 24 * size, nose + 64 * size) & ~below)
    if root is not None:
        brow = _highest(forward, _between(height, height[root] + 4 * size, height[root] + 32 * size) & ~below)
        depth = forward[brow] - forward[root] if brow is not None else 0.0
        if _turns(forward, root):
            _add(found, "sellion", profile, root, _told(depth, 0.8, 2.5))
        if brow is not None and _turns(-forward, brow):
            _add(found, "glabella", profile, brow, _told(_drop(profile, brow, 14.0 * size), 0.1, 0.8))
    under = _hollow(profile, tip, _between(height, nose - 25 * size, nose - 14 * size) & below)
    if under is None:
        return found
    bends = bend[max(0, under - 5) : under + 6]
    _add(found, "subnasale", profile, under, _told(-float(np.nan_to_num(bends).min()), 0.03, 0.09))
    lips = _lowest(bend, _between(height, height[under] - 34 * size, height[under] - 9 * size) & below)
    if lips is None:
        return found
    sharp = -float(bend[lips])
    around = np.arange(max(0, lips - 4), lips + 5)
    lips = int(around[np.nanargmax(profile.places[around, 1])])  # the bottom of the line between the lips
    _add(found, "stomion", profile, lips, _told(sharp, 0.06, 0.20))
    chin = _chin(profile, lips, size)
    if chin is not None:
        _add(found, "gnathion", profile, chin[0], chin[1])
    return found


def _turns(values: NDArray[np.float64], row: int) -> bool:
    """Whether the value at a row is lower than a little before and after it, not the end of a slope."""
    reach = round(2.0 / _PIXEL)
    sides = values[[max(0, row - reach), min(len(values) - 1, row + reach)]]
    return bool((np.nan_to_num(sides, nan=-np.inf) >= values[row]).all())


def _hollow(profile: Profile, tip: int, lip_window: NDArray[np.bool_]) -> int | None:
    """Where the profile lies farthest behind the line from the nose tip to the upper lip."""
    lip = _highest(profile.forward, lip_window)
    if lip is None or tip - lip < 4:
        return None
    rows = np.arange(lip, tip + 1)
    chord = np.array([profile.forward[tip] - profile.forward[lip], profile.height[tip] - profile.height[lip]])
    behind = (profile.height[rows] - profile.height[lip]) * chord[0]
    behind -= (profile.forward[rows] - profile.forward[lip]) * chord[1]
    if np.isfinite(behind).mean() < 0.9:
        return None
    return int(rows[np.nanargmax(behind)])


_THROAT = 0.35
"""The chin's lowest point is taken with the head tilted back by this slope (19 degrees), so that a throat that goes
on downwards is not taken for the chin."""


def _chin(profile: Profile, lips: int, size: float) -> tuple[int, float] | None:
    """The lowest point of the chin."""
    height, forward = profile.height, profile.forward
    rows = np.arange(len(height))
    window = _between(height, height[lips] - 62 * size, height[lips] - 24 * size) & (rows < lips)
    window &= np.nan_to_num(forward, nan=-1e9) > forward[lips] - 45 * size
    level = height - _THROAT * forward
    low = _lowest(level, window)
    if low is None:
        return None
    # Where chin and throat make one slope the lowest place is a long stretch: then a quarter of the way forward in it.
    stretch = rows[window & (np.nan_to_num(level, nan=np.inf) < level[low] + 0.25)]
    if low - rows[window].min() < 4.0 / _PIXEL:
        return low, 0.2  # the slope goes on beyond what is looked at
    low = int(low + (stretch.max() - low) // 4)
    return low, _told(-float(len(stretch)) * _PIXEL / size, -18.0, -11.0)


def _add(found: Found, name: str, profile: Profile, row: int, confidence: float) -> None:
    found[name] = (profile.places[row], confidence)


def _between(values: NDArray[np.float64], low: float, high: float) -> NDArray[np.bool_]:
    known = np.nan_to_num(values, nan=np.inf)
    return np.asarray((known > low) & (known < high))


def _highest(values: NDArray[np.float64], where: NDArray[np.bool_]) -> int | None:
    """Row of the greatest value among `where`, None if there is none."""
    usable = where & np.isfinite(values)
    return int(np.argmax(np.where(usable, values, -np.inf))) if usable.any() else None


def _lowest(values: NDArray[np.float64], where: NDArray[np.bool_]) -> int | None:
    return _highest(-values, where)


def _drop(profile: Profile, row: int, reach: float) -> float:
    """How far the profile falls back within `reach` mm of height, on the side where it falls less.

    Beside a hole half of what the other side falls by is given, which keeps such a place weak.
    """
    rows = max(1, round(reach / _PIXEL))
    ends = [max(0, row - rows), min(len(profile.forward) - 1, row + rows)]
    drops = profile.forward[row] - profile.forward[ends]
    if np.isfinite(drops).all():
        return float(drops.min())
    return 0.5 * min(float(np.nan_to_num(drops, nan=0.0).max()), 1.0)


def _told(evidence: float, none: float, full: float) -> float:
    """Confidence from 0 at `none` to 0.95 at `full`."""
    return float(np.clip(0.95 * (evidence - none) / (full - none), 0.0, 0.95)) if np.isfinite(evidence) else 0.0


def _smoothed(values: NDArray[np.float64], sigma: float) -> NDArray[np.float64]:
    """Gaussian mean over what is known; NaN stays NaN."""
    known = np.isfinite(values)
    if not known.any():
        return values
    weight = ndimage.gaussian_filter1d(known.astype(float), sigma)
    mean = ndimage.gaussian_filter1d(np.where(known, values, 0.0), sigma) / np.maximum(weight, 1e-9)
    return np.where(known, mean, np.nan)


def _bend(forward: NDArray[np.float64], height: NDArray[np.float64]) -> NDArray[np.float64]:
    """Turning of the curve per mm over some 3 mm: curvature, outward positive for a curve that runs upwards."""
    step = max(1, round(1.6 / _PIXEL))
    bend = np.full(len(forward), np.nan)
    before = np.column_stack([forward[step:-step] - forward[: -2 * step], height[step:-step] - height[: -2 * step]])
    after = np.column_stack([forward[2 * step :] - forward[step:-step], height[2 * step :] - height[step:-step]])
    turn = arc_tangent(before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0], (before * after).sum(axis=1))
    length = (np.linalg.norm(before, axis=1) + np.linalg.norm(after, axis=1)) / 2
    bend[step:-step] = turn / np.maximum(length, 1e-9)
    return bend
