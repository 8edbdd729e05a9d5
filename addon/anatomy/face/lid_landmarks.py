"""Lids and their corners, read off the face as it is seen from the front: open, shut, or only the lower one seen."""

import numpy as np
from scipy import ndimage

from ...geometry.views.depth_map import DepthMap
from ...geometry.views.relief import relief
from .front_view import FOLD, put
from .lid_opening import Opening
from .lid_search import find_openings
from .profile_search import Found


def eye_landmarks(front: DepthMap, size: float) -> Found:
    """Corners and lid margins of both eyes."""
    found: Found = {}
    folds = relief(_without_bars(front, size), FOLD)
    openings = find_openings(front, folds, size)
    told = [_told(opening, size) for opening in openings]
    if max(told) < _OPEN:
        shut = find_openings(front, folds, size, shut=True)
        told_shut = [_shut_told(opening, size) for opening in shut]
        if max(told_shut) >= _SHUT_LEAST and sum(told_shut) > sum(told):
            openings, told = shut, told_shut
    if min(told) > _TRACE_OF_TWIN and openings[0].unlike < _ALIKE:
        told = [max(own, _BY_THE_TWIN * max(told)) for own in told]
    astray = openings[0].unlike > _ELSEWHERE and min(told) < _TRACE_OF_TWIN
    for side, opening, confidence in zip(("left", "right"), openings, told, strict=True):
        if astray and confidence < max(told) / 2:
            continue
        below = max(confidence, _LOWER_ALONE * _seen(opening) * opening.rimmed_below)
        for name, place, sure in (
            ("endocanthion", opening.inner, below),
            ("exocanthion", opening.outer, below),
            ("palpebrale-superius", opening.top, confidence),
            ("palpebrale-inferius", opening.bottom, below),
        ):
            put(found, f"{name}-{side}", front, place, sure)
    return found


_OPEN = 0.5
"""With less than this for either eye, closed lids are looked for as well."""

_SHUT_LEAST = 0.3
"""Lids are mostly scanned open: with less than this for both, the folds are those of blurred open ones."""

_TRACE_OF_TWIN, _ALIKE, _BY_THE_TWIN = 0.2, 2.5, 0.8
"""An eye of which there is some trace, lying within 2.5 mm of where its twin says, is nearly as sure as the twin."""

_ELSEWHERE = 4.0
"""An eye of which there is no such trace and that lies farther from there, mm, is a fold of the brow or the cheek: on a
demo capture of 120,000 points it was 7 mm off, its twin 2. Where it is looked for is then for the twin to say."""

_LOWER_ALONE = 0.45
"""An eye of which only the lower margin shows: weak, but better than none. The fold over it is then the crease."""

_TALL = (12.0, 15.6)
"""The tallest fissures published, 11.94 ± 1.23 mm of 52 women (BioMed Res Int 2013, 821428), and three standard
deviations over them: from the one on an opening is doubted, beyond the other it is none."""
_PLAIN = (0.45, 0.7)  # how sharply an edge stands out that is surely a lid's; over a crease 0.43 was seen at most

_SHUT_AT_BEST = 0.7
"""A line of closed lids is told less well from other folds than an opening with a globe in it."""

_SHUT_EDGE = (0.35, 0.6)
"""How sharply the upper lid's edge stands out over the line of surely closed lids: 0.62 and 0.89 in the head of an MRI;
over the lower margin of an open eye that was captured too coarsely 0.36 was seen at most."""


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


def _shut_told(opening: Opening, size: float) -> float:
    """Confidence that the line is the one in which closed lids meet."""
    return _SHUT_AT_BEST * _told(opening, size) * float(np.interp(opening.edges[0], _SHUT_EDGE, (0.0, 1.0)))


def _seen(opening: Opening) -> float:
    """The same by the folds alone, whatever stands out beside them."""
    sharp = np.clip((opening.strength - 0.25) / 0.35, 0, 1)
    apart = np.clip((opening.contrast - 0.6) / 0.25, 0, 1)
    steady = np.clip((1.2 - opening.spread) / 0.8, 0, 1)
    alike = np.clip((7.0 - opening.unlike) / 4.0, 0, 1)
    return float(0.95 * sharp * apart * steady * alike)
