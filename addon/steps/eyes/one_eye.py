"""One eye found on the head: its fissure, its globe, the opening before it, and what is to be said of that."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ...anatomy.eyes.eye import FISSURE_HEIGHT, MARGIN_REFLEX_UPPER
from ...anatomy.eyes.fissure import CORNERS, Fissure, published_fissure
from ...geometry.cloud import Cloud
from ...geometry.errors import NotReady
from ...geometry.mesh import Mesh
from ..workpiece import Eye, Workpiece

if TYPE_CHECKING:
    from ...anatomy.eyes.globe_fit import Estimate

BY_HAND: tuple[str, ...] = ("by hand",)
"""The source of an eye whose centre was given."""

_NEAR = 6.0  # mm; a globe farther from the twin's mirror image was placed there for a reason


@dataclass(frozen=True)
class Search:
    """What the eyes are looked for in, at life size, and how.

    Parameters
    ----------
    points : (n, 3) the scan, raw or nearly so
    head : the closed head
    radius : of the globes, mm
    sources : what the globes are placed by
    photographs : side to what photographs say of its centre
    """

    points: NDArray[np.float64]
    head: Mesh
    radius: float
    sources: str
    photographs: "Mapping[str, Estimate]"


def search_in(piece: Workpiece, radius: float, sources: str, photographs: "Mapping[str, Estimate]") -> Search:
    """The search on a workpiece with a closed head; `radius` in mm at life size."""
    head, scale = piece.needed_head(), piece.scale
    return Search(
        _scan_points(piece) / scale, Mesh(head.vertices / scale, head.triangles), radius, sources, photographs
    )


def with_eye(piece: Workpiece, search: Search, side: str, by_hand: tuple[float, ...]) -> Workpiece:
    """The workpiece with one more eye, still without its diameter; figures and notes with it.

    Parameters
    ----------
    piece : with its landmarks
    search : what is looked in
    side : the sitter's own "left" or "right"
    by_hand : the centre as the head stands, or nothing
    """
    from ...anatomy.lids.globe_placing import margin_about, placed_globe

    scale, shown = piece.scale, search.photographs.get(side)
    given, sources = (np.array(by_hand) / scale if by_hand else None), BY_HAND
    if given is None and shown is not None and not corners_seen(piece, side) and not corners_seen(piece, twin_of(side)):
        given, sources = shown.centre, (shown.source,)
    fissure = fissure_of(piece, side, given, search.radius)
    if given is not None:
        centre = given
        opening, length, height, seen = margin_about(search.head, fissure, centre, search.radius)
        uncertainty = 0.0 if by_hand or shown is None else shown.uncertainty
    else:
        trust = _trust(piece, side)
        found = placed_globe(search.points, search.head, fissure, search.radius, trust, search.sources, shown)
        centre, opening, seen, sources = found.centre, found.opening, found.opening_seen, found.sources
        length, height = found.opening_length, found.opening_height
        uncertainty = float(np.sqrt(np.trace(found.covariance)))
        piece = piece.measured(
            **{
                f"{side}_sclera_points": found.points,
                f"{side}_sclera_spread_mm_life": found.spread,
                f"{side}_depth_uncertainty_mm_life": float(np.sqrt(found.covariance[1, 1])),
            }
        )
    if not fissure.is_open:  # what was drawn through its line is no opening
        length, height = fissure.length, fissure.height
    eye = Eye(side, triple(centre * scale), uncertainty=uncertainty * scale, sources=sources, opening=opening * scale)
    piece = piece.but(eyes=(*piece.eyes, eye)).measured(
        **{
            f"{side}_uncertainty_mm_life": uncertainty,
            f"{side}_fissure_length_mm_life": length,
            f"{side}_fissure_height_mm_life": height,
        }
    )
    if search.sources == "all" and shown is not None and not {"landmarks", *BY_HAND} & set(sources) and given is None:
        piece = piece.noted(
            f"the photographs show the {side} eye far from where the landmarks of its lids do: these were not used to "
            "place it; move them to where its lids are"
        )
    by_twin = given is None and not corners_seen(piece, side)
    hidden = [name for name in (f"{lid}-{side}" for lid in CORNERS[2:]) if name not in piece.landmarks]
    for note in _notes(side, sources, seen, fissure, by_twin, hidden, uncertainty):
        piece = piece.noted(note)
    return piece


def corners_seen(piece: Workpiece, side: str) -> bool:
    """Whether both corners of an eye are among the landmarks."""
    return all(f"{name}-{side}" in piece.landmarks for name in CORNERS[:2])


def twin_of(side: str) -> str:
    """The other side."""
    return "right" if side == "left" else "left"


def fissure_of(piece: Workpiece, side: str, centre: NDArray[np.float64] | None, radius: float) -> Fissure:
    """The landmarks of one eye at life size. Lid middles that are missing are drawn from published sizes, over the
    lower one where that shows; an eye whose corners are missing is the other one's mirror image.
    """
    marks = piece.landmarks
    names = [f"{name}-{side}" for name in CORNERS]
    missing = [name for name in names[:2] if name not in marks]
    if missing and corners_seen(piece, twin_of(side)):
        twin = fissure_of(piece, twin_of(side), None, radius).mirrored()
        if centre is None or np.hypot(*(np.array(twin.pupil_line()) - centre[[0, 2]])) < _NEAR:
            return twin
    if len(missing) == 2 and centre is not None:
        return published_fissure(side, centre + np.array([0.0, -radius - 1.0, 0.0]))
    if missing:
        raise NotReady(
            f"place-eyes: landmark {' and '.join(missing)} missing: run landmarks, place it by hand, or give "
            f"{side}_centre"
        )
    inner, outer = (piece.needed_landmark(name) / piece.scale for name in names[:2])
    middle = (inner + outer) / 2 + np.array([0.0, -3.5, 0.0])
    rise = MARGIN_REFLEX_UPPER / 10.08 * FISSURE_HEIGHT
    upper, lower = middle + np.array([0.0, 0.0, rise]), middle - np.array([0.0, 0.0, FISSURE_HEIGHT - rise])
    if names[3] in marks:
        lower = piece.needed_landmark(names[3]) / piece.scale
        upper = lower + np.array([0.0, 0.0, FISSURE_HEIGHT])
        if names[2] in marks:
            seen = piece.needed_landmark(names[2]) / piece.scale
            # A weak one that lies high is likelier the crease: it counts for as much as it is sure.
            doubtful = seen[2] > upper[2] and not marks[names[2]].sure
            share = marks[names[2]].confidence if doubtful else 1.0
            upper = share * seen + (1.0 - share) * upper
    return Fissure(side, inner, outer, upper, lower)


def triple(place: NDArray[np.float64]) -> tuple[float, float, float]:
    """A (3,) array as the three numbers a workpiece holds."""
    x, y, z = place.tolist()
    return x, y, z


def _scan_points(piece: Workpiece) -> NDArray[np.float64]:
    """The raw scan where there is one, since closing smooths the margins; else the head's vertices."""
    if isinstance(piece.scan, Cloud):
        return piece.scan.points
    return (piece.scan or piece.needed_head()).vertices


def _trust(piece: Workpiece, side: str) -> float:
    """Confidence of the weakest landmark an eye is placed by; less where only its twin's were seen."""
    seen = corners_seen(piece, side)
    own = side if seen else twin_of(side)
    marks = [piece.landmarks[f"{name}-{own}"] for name in CORNERS if f"{name}-{own}" in piece.landmarks]
    return (1.0 if seen else 0.5) * min(mark.confidence for mark in marks)


def _notes(
    side: str,
    sources: tuple[str, ...],
    seen: bool,
    fissure: Fissure,
    by_twin: bool,
    hidden: list[str],
    uncertainty: float,
) -> list[str]:
    """What a sculptor must know of how this eye was placed."""
    notes = []
    if by_twin:
        notes.append(
            f"the corners of the {side} eye were not found: it was looked for where the {twin_of(side)} eye's mirror "
            "image lies; place its landmarks by hand if it is elsewhere"
        )
    elif hidden:
        notes.append(
            f"{' and '.join(hidden)} not found, behind lashes, spectacles or blur: the {side} eye's lids were looked "
            f"for {FISSURE_HEIGHT:g} mm apart, as most adults' are; place it by hand, or set fissure_height in "
            "rebuild-lids"
        )
    if sources != BY_HAND and "sclera" not in sources:
        advice = "" if "photographs" in sources else "; compare it with a photograph"
        state = "is closed" if not fissure.is_open else "shows too little sclera"
        notes.append(
            f"the {side} eye {state}: its globe was placed by {' and '.join(sources)} only, right to about "
            f"{uncertainty:.1f} mm at life size{advice}"
        )
    if not seen and fissure.is_open:
        notes.append(
            f"no lid margin could be followed round the {side} eye: its opening was drawn through the landmarks"
        )
    return notes
