"""Lids, mouth and orbits, read off the face as it is seen from the front."""

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from ...geometry.mesh import Mesh
from ...geometry.views.depth_map import DepthMap, depth_map, sampled
from ...geometry.views.relief import Relief, relief
from .lid_opening import Opening
from .lid_search import find_openings
from .mouth_search import find_corners
from .profile_search import Found

_FINE = 0.4
_FOLD = 0.8


def front_of(posed: Mesh, size: float) -> DepthMap:
    """The face from the front, from under the mouth to over the brows."""
    low, high = (-62.0 * size, -85.0 * size), (62.0 * size, 55.0 * size)
    near = (posed.vertices[:, 1] < -20.0 * size) & (np.abs(posed.vertices[:, 0]) < 70 * size)
    near &= (posed.vertices[:, 2] > low[1] - 8) & (posed.vertices[:, 2] < high[1] + 8)
    triangles = posed.triangles[near[posed.triangles].all(axis=1)]
    return depth_map(posed.vertices[:, [0, 2, 1]] * [1, 1, -1], triangles, low, high, _FINE)


def eye_landmarks(front: DepthMap, size: float) -> Found:
    """Corners and lid margins of both eyes."""
    found: Found = {}
    folds = relief(_without_bars(front, size), _FOLD)
    openings = find_openings(front, folds, size)
    told = [_told(opening, size) for opening in openings]
    if max(told) < _OPEN:
        shut = find_openings(front, folds, size, shut=True)
        told_shut = [_SHUT_AT_BEST * _told(opening, size) for opening in shut]
        if max(told_shut) >= _SHUT_LEAST and sum(told_shut) > sum(told):
            openings, told = shut, told_shut
    if min(told) > _TRACE_OF_TWIN and openings[0].unlike < _ALIKE:
        told = [max(own, _BY_THE_TWIN * max(told)) for own in told]
    for side, opening, confidence in zip(("left", "right"), openings, told, strict=True):
        below = max(confidence, _LOWER_ALONE * _seen(opening) * opening.rimmed_below)
        for name, place, sure in (
            ("endocanthion", opening.inner, below),
            ("exocanthion", opening.outer, below),
            ("palpebrale-superius", opening.top, confidence),
            ("palpebrale-inferius", opening.bottom, below),
        ):
            _add(found, f"{name}-{side}", front, place, sure)
    return found


_OPEN = 0.5
"""With less than this for either eye, closed lids are looked for as well."""

_SHUT_LEAST = 0.3
"""Lids are mostly scanned open: with less than this for both, the folds are those of blurred open ones."""

_TRACE_OF_TWIN, _ALIKE, _BY_THE_TWIN = 0.2, 2.5, 0.8
"""An eye of which there is some trace, lying within 2.5 mm of where its twin says, is nearly as sure as the twin."""

_LOWER_ALONE = 0.45
"""An eye of which only the lower margin shows: weak, but better than none. The fold over it is then the crease."""

_TALL = (13.2, 15.6)
"""One and three standard deviations over the tallest fissures published, 11.94 ± 1.23 mm of 52 women (BioMed Res Int
2013, 821428): from the one on an opening is doubted, beyond the other it is none."""
_PLAIN = (0.45, 0.7)  # how sharply an edge stands out that is surely a lid's; over a crease 0.43 was seen at most

_SHUT_AT_BEST = 0.7
"""A line of closed lids is told less well from other folds than an opening with a globe in it."""


def _without_bars(front: DepthMap, size: float) -> DepthMap:
    """The face without what stands before it and is thin: frames of spectacles, strands of hair."""
    seen = front.seen
    if not seen.any():
        return front
    rows, columns = ndimage.distance_transform_edt(~seen, return_distances=False, return_indices=True)
    depth = front.depths[rows, columns]
    reach = round(_BAR * size / front.pixel)
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    bars = depth - ndimage.grey_opening(depth, footprint=x**2 + y**2 <= reach**2) > _STANDS_OUT * size
    labels, count = ndimage.label(bars, structure=np.ones((3, 3)))
    long = [
        max(part.stop - part.start for part in box) > _LONG * size / front.pixel for box in ndimage.find_objects(labels)
    ]
    bars = ndimage.binary_dilation(np.isin(labels, np.arange(1, count + 1)[long]), iterations=3)
    return DepthMap(np.where(bars, np.nan, front.depths), front.low, front.pixel)


_BAR, _STANDS_OUT, _LONG = 2.8, 3.2, 12.0
"""Half the breadth of what counts as thin, how far it stands out and how long it is, mm: no lid edge stands out so."""


def _told(opening: Opening, size: float) -> float:
    """Confidence that the opening is the one between the lids, and not one up to the crease: a tall one must show the
    upper lid's edge plainly, as a statue's may.
    """
    height = float(opening.top[1] - opening.bottom[1]) / size
    usual, plain = np.interp(height, _TALL, (1.0, 0.0)), np.interp(opening.edges[0], _PLAIN, (0.0, 1.0))
    return _seen(opening) * opening.rimmed * float(max(usual, plain))


def _seen(opening: Opening) -> float:
    """The same by the folds alone, whatever stands out beside them."""
    sharp = np.clip((opening.strength - 0.25) / 0.35, 0, 1)
    apart = np.clip((opening.contrast - 0.6) / 0.25, 0, 1)
    steady = np.clip((1.2 - opening.spread) / 0.8, 0, 1)
    alike = np.clip((7.0 - opening.unlike) / 4.0, 0, 1)
    return float(0.95 * sharp * apart * steady * alike)


def mouth_landmarks(front: DepthMap, marks: Found, size: float) -> Found:
    """The corners of the mouth, from the stomion among `marks`; `size` where the profile does not tell a better one."""
    found: Found = {}
    if "stomion" not in marks:
        return found
    size = size_in_profile(marks, size)
    place, sure = marks["stomion"]
    folds = relief(front, _FOLD)
    tries = sorted(
        (find_corners(front, folds, place[[0, 2]], share * size) for share in _SHARES), key=lambda line: _breadth(*line)
    )
    (left, right, strength), doubt = tries[0], 1.0
    for wider in tries[1:]:
        apart = max(float(np.linalg.norm(left - wider[0])), float(np.linalg.norm(right - wider[1]))) / size
        if apart < _SAME:
            continue
        if all(_runs_on(folds, front, *ends) for ends in ((left, wider[0]), (right, wider[1]))):
            doubt, (left, right, strength) = _RUN_ON, wider
        else:
            doubt = min(doubt, float(np.clip((5.0 - apart) / 2.0, 0, 1)))
    if any(_pit_beyond(folds, front, place[[0, 2]], end, size) for end in (left, right)):
        doubt = min(doubt, _PIT_BEYOND)
    uneven = abs(left[0] + right[0] - 2 * place[0]) / size
    alike = np.clip((8.0 - uneven) / 4.0, 0, 1)
    confidence = float(min(sure, 0.95 * np.clip((strength - 0.2) / 0.4, 0, 1) * alike * doubt))
    _add(found, "cheilion-left", front, left, confidence)
    _add(found, "cheilion-right", front, right, confidence)
    return found


def _breadth(left: NDArray[np.float64], right: NDArray[np.float64], strength: float) -> float:
    return float(np.linalg.norm(left - right))


def _runs_on(folds: Relief, front: DepthMap, inner: NDArray[np.float64], outer: NDArray[np.float64]) -> bool:
    """Whether the line between the lips goes on from `inner` to `outer`: a faint fold that ends in a pit.

    A coarse scan blunts the line before its corner is reached; the corner itself is a hollow that it keeps.
    """
    fold = _fold_along(folds, front, inner, outer)
    faintest = float(fold.min())
    return faintest > _TRACE_OF_FOLD and float(fold[np.argmin(fold) :].max()) > _PIT * faintest


def _pit_beyond(
    folds: Relief, front: DepthMap, middle: NDArray[np.float64], corner: NDArray[np.float64], size: float
) -> bool:
    """Whether a pit lies farther out on the line, which may be the corner where this one is only a blunted end."""
    out = (corner - middle) / np.linalg.norm(corner - middle) * size
    return bool(_fold_along(folds, front, corner + 3.0 * out, corner + 9.0 * out).max() > _SHARP_PIT)


def _fold_along(
    folds: Relief, front: DepthMap, start: NDArray[np.float64], end: NDArray[np.float64]
) -> NDArray[np.float64]:
    """(21,) how sharply the surface folds from `start` to `end`, the sharpest within 1.6 mm above and below."""
    along = start + np.linspace(0.0, 1.0, 21)[:, None] * (end - start)
    tried = along[:, None] + np.array([0.0, 1.0]) * np.linspace(-1.6, 1.6, 17)[:, None]
    return np.asarray(np.nan_to_num(sampled(folds.valley, front, tried[..., 0], tried[..., 1])).max(axis=1))


_SHARES = (0.86, 0.95, 1.05)
"""Breadths of a mouth, of the mean one, from which it is looked for: sure corners are found from all of them."""

_SAME, _RUN_ON = 2.0, 0.65
"""Corners within 2 mm are one; where the line was followed through a faint stretch they are less sure."""

_TRACE_OF_FOLD, _PIT, _SHARP_PIT, _PIT_BEYOND = 0.06, 1.5, 0.13, 0.4
"""The bend of a faint fold, 1/mm; how much sharper the pit at its end is; the bend of a pit that no line leads to, and
what it leaves of the confidence (demo captures of 120,000 and 150,000 points)."""


def size_in_profile(marks: Found, size: float) -> float:
    """The face against a mean adult's by its height from sellion to stomion, or `size` where they are not sure.

    The mean face laid over all of it comes out small where the whole face is not like it.
    """
    (sellion, above), (stomion, below) = (marks.get(name, (np.zeros(3), 0.0)) for name in ("sellion", "stomion"))
    if min(above, below) < _SURE_PROFILE:
        return size
    return float(np.clip(np.linalg.norm(sellion - stomion) / _SELLION_TO_STOMION, 0.8 * size, 1.3 * size))


_SURE_PROFILE = 0.5
_SELLION_TO_STOMION = 72.0
"""mm: sellion to menton 118 (ANSUR II, men and women) less stomion to menton 46 (from memory)."""


def orbit_landmarks(front: DepthMap, marks: Found, size: float) -> Found:
    """The orbitalia: the bone's edge hardly shows on skin, so they lie at a published height under the outer canthi.

    The hollow under the lower lid, which runs along the upper side of that edge, draws them a quarter of the way to it;
    where none is seen they are weak.
    """
    found: Found = {}
    size = size_in_profile(marks, size)
    hollows = relief(front, 2.0)
    for side in ("left", "right"):
        names = [f"{stem}-{side}" for stem in ("endocanthion", "exocanthion", "palpebrale-inferius")]
        if any(name not in marks for name in names):
            continue
        inner, outer, lid = (marks[name][0] for name in names)
        across, height = (inner[0] + outer[0]) / 2, outer[2] - _BELOW_CANTHUS * size
        looked = height + np.arange(-4.0, 8.01, 0.2) * size
        looked = looked[looked < lid[2] - 3.0 * size]  # the fold at the lid's own edge is not the orbit's
        sure = min(marks[name][1] for name in names)
        hollow = _deepest(np.nan_to_num(sampled(hollows.valley, front, np.full(len(looked), across), looked)))
        if hollow is None:
            sure = min(sure, _ORBIT_UNSEEN)
        else:
            sure, height = _ORBIT_SEEN * sure, height + _TO_THE_HOLLOW * (looked[hollow] - height)
        _add(found, f"orbitale-{side}", front, np.array([across, height]), sure)
    return found


def _deepest(bend: NDArray[np.float64]) -> int | None:
    """The row of the deepest hollow; None where the surface does not bend, or most at an end of what is looked at."""
    best = int(np.argmax(bend)) if len(bend) else 0
    return best if 0 < best < len(bend) - 1 and bend[best] > _HOLLOW else None


_BELOW_CANTHUS = 17.5
"""mm of an adult from the outer canthus down to the Frankfurt plane, on which the orbitale lies: tragion to top of head
less top of head to outer canthus, 131.2 - 113.8 in men, 126.5 - 108.9 in women (ANSUR II, reference_values.md)."""

_TO_THE_HOLLOW = 0.25
"""What the hollow counts against the published height: it lay 10 to 16 mm under the canthus on an MRI head and a bust,
and wanders with age and fat (our estimate: 4.3 mm of spread against 2.5)."""

_ORBIT_SEEN, _ORBIT_UNSEEN, _HOLLOW = 0.65, 0.3, 0.01
"""Confidence with and without a hollow, and the least bend that counts as one, 1/mm."""


def _add(found: Found, name: str, front: DepthMap, place: NDArray[np.float64], confidence: float) -> None:
    """Put a place seen from the front on the surface; left out where there is none."""
    depth = float(front.at(place[:1], place[1:])[0])
    if np.isfinite(depth):
        found[name] = (np.array([place[0], -depth, place[1]]), confidence)
