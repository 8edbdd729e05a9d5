"""Mouth and orbits, read off the face as it is seen from the front."""

import numpy as np
from numpy.typing import NDArray

from ...geometry.views.depth_map import DepthMap, sampled
from ...geometry.views.relief import Relief, relief
from .front_view import FOLD, put
from .mouth_search import find_corners
from .profile_search import Found


def mouth_landmarks(front: DepthMap, marks: Found, size: float) -> Found:
    """The corners of the mouth, from the stomion among `marks`; `size` where the profile does not tell a better one."""
    found: Found = {}
    if "stomion" not in marks:
        return found
    size = size_in_profile(marks, size)
    place, sure = marks["stomion"]
    folds = relief(front, FOLD)
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
    put(found, "cheilion-left", front, left, confidence)
    put(found, "cheilion-right", front, right, confidence)
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
        put(found, f"orbitale-{side}", front, np.array([across, height]), sure)
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
