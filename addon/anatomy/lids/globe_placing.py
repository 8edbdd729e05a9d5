"""One eye placed: the globe's centre from all that is known of it, and the margin of the opening before it.

All lengths are millimetres at life size, in the posed frame.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...geometry.errors import NotPossible
from ...geometry.mesh import Mesh
from ...geometry.views.inside_view import view_from_inside
from ..eyes.eye import LID_THICKNESS, EyeShape
from ..eyes.fissure import Fissure
from ..eyes.globe_fit import AHEAD, Estimate, combined, from_landmarks, from_lids, from_sclera
from ..face.proposals import SURE
from .lid_margin import between_lids, found_margin, opening_size, opening_through

REACH = 28.0
"""How far about a globe's centre anything is looked at, mm."""

AT_ODDS = 3.5
"""Standard deviations that chance does not explain: chi-squared leaves 0.7 % beyond them for three unknowns."""

_WEAK = 9.0
"""How much larger the variances are where the lids' landmarks are weak: lids are then looked for in the wrong place,
which put globes 4.4 mm too high on a demo capture of 120,000 points."""

_BESIDE_WEAK = 1.5
"""What is taken for sclera between weak lids may be lid: 1.8 mm too high there. One standard deviation, mm."""

_ROUND, _UNEVEN = 0.08, 0.10
"""Sclera lies on its sphere, lid taken for it does not, mm of standard deviation: with the fissure moved by up to 4 mm
and opened by up to 5 on demo captures, of 115 fits below the one nine in ten were right to 0.4 mm and all to 0.9, of 45
beyond the other most were wrong by 2 and more."""

_NO_EYE = -1.5
"""mm: what lies so far under the eye's surface is none, but stone, or lids that a scan has lost. On demo captures it
lies 0.03 to 0.9 under it, on a carved and on a modelled head 3.6 to 4.5."""

_LENGTHS, _HEIGHTS = (14.0, 34.0), (4.0, 16.0)  # openings outside these are no openings between lids


@dataclass(frozen=True, eq=False)
class PlacedGlobe:
    """What was found of one eye.

    `centre` with its `covariance`; `sources` it rests on; `axis` of the cornea in the scan and whether it was seen;
    `points` of sclera used and their `spread`; the `opening`'s margin, its size, and whether it was seen or only
    drawn through the landmarks.
    """

    centre: NDArray[np.float64]
    covariance: NDArray[np.float64]
    sources: tuple[str, ...]
    axis: NDArray[np.float64]
    axis_seen: bool
    points: int
    spread: float
    opening: NDArray[np.float64]
    opening_length: float
    opening_height: float
    opening_seen: bool


def placed_globe(
    points: NDArray[np.float64],
    head: Mesh,
    fissure: Fissure,
    radius: float,
    trust: float,
    sources: str,
    photographs: Estimate | None = None,
) -> PlacedGlobe:
    """Place one globe and find the margin of its opening.

    Parameters
    ----------
    points : (n, 3) the scan, raw or nearly so
    head : the closed head
    fissure : from the landmarks
    radius : of the globe
    trust : confidence of the weakest landmark, 0 to 1
    sources : "all", or the one to use: "landmarks", "lids", "sclera" or "photographs"
    photographs : what they say of the centre, where there are some that show the pupil; landmarks that lie elsewhere
        give way to them

    Raises
    ------
    NotPossible
        The one source asked for shows nothing.
    """
    first = from_landmarks(fissure, radius)
    doubt = _WEAK if trust < SURE else 1.0
    first = Estimate(first.source, first.centre, doubt * first.covariance)
    if photographs is not None and sources == "all" and at_odds(first, photographs):
        # Landmarks beside the eye are likelier than an eye that looked 30 degrees aside.
        fissure = fissure.moved(photographs.centre - first.centre)
        first = photographs
    points = points[((points - first.centre) ** 2).sum(axis=1) < REACH**2]
    estimates = [first]
    if sources in ("all", "lids") and first is not photographs:  # where lids are is told by the landmarks
        lids = from_lids(points, fissure, radius, first)
        estimates += [] if lids is None else [Estimate(lids.source, lids.centre, doubt * lids.covariance)]
    if photographs is not None and sources in ("all", "photographs") and first is not photographs:
        estimates.append(photographs)
    sclera = from_sclera(points, fissure, radius, combined(estimates)) if sources in ("all", "sclera") else None
    if sclera is not None:
        doubtful = float(np.interp(sclera.spread, (_ROUND, _UNEVEN), (0.0, 1.0))) if trust < SURE else 0.0
        astray = np.eye(3) * (doubtful * _BESIDE_WEAK) ** 2
        seen_globe = sclera.estimate
        estimates.append(Estimate(seen_globe.source, seen_globe.centre, seen_globe.covariance + astray))
    if sources != "all":
        estimates = [each for each in estimates if each.source == sources]
        if not estimates:
            raise NotPossible(f"the {fissure.side} eye shows no {sources} to place it by: use all sources")
    best = combined(estimates)
    axis = AHEAD if sclera is None else sclera.axis
    opening, length, height, seen = margin_about(head, fissure, best.centre, radius, axis)
    return PlacedGlobe(
        best.centre,
        best.covariance,
        tuple(each.source for each in estimates),
        axis,
        sclera is not None and sclera.axis_seen,
        0 if sclera is None else sclera.points,
        0.0 if sclera is None else sclera.spread,
        opening,
        length,
        height,
        seen,
    )


def shows_eye(head: Mesh, margin: NDArray[np.float64], centre: NDArray[np.float64], radius: float) -> bool:
    """Whether an eye shows within a (k, 3) margin on the head: stone, and lids a scan has lost, lie deep under it."""
    view = view_from_inside(head, centre, AHEAD, REACH)
    return between_lids(view, opening_through(margin, centre), EyeShape(2 * radius), AHEAD) > _NO_EYE


def at_odds(one: Estimate, other: Estimate) -> bool:
    """Whether two estimates lie farther apart than chance brings them: 0.7 % of the time for three unknowns."""
    away = one.centre - other.centre
    return bool(away @ np.linalg.solve(one.covariance + other.covariance, away) > AT_ODDS**2)


def margin_about(
    head: Mesh, fissure: Fissure, centre: NDArray[np.float64], radius: float, axis: NDArray[np.float64] = AHEAD
) -> tuple[NDArray[np.float64], float, float, bool]:
    """The opening's margin before a globe: the curve, its length and height, and whether it was seen on the surface."""
    edge = radius + LID_THICKNESS / 2
    view = view_from_inside(head, centre, AHEAD, REACH)
    drawn = opening_through(fissure.curve(180), centre)
    seen = False
    if fissure.is_open:
        try:
            found = found_margin(view, fissure, EyeShape(2 * radius), axis, LID_THICKNESS / 2)
        except NotPossible:  # no ring runs near the landmarks: said by `seen`, the landmarks' own curve serves
            found = drawn
        length, height = opening_size(found, edge)
        seen = found is not drawn and _LENGTHS[0] < length < _LENGTHS[1] and _HEIGHTS[0] < height < _HEIGHTS[1]
        seen = seen and between_lids(view, found, EyeShape(2 * radius), axis) > _NO_EYE
        drawn = found if seen else drawn
    length, height = opening_size(drawn, edge)
    return drawn.curve(view, edge), length, height, seen
