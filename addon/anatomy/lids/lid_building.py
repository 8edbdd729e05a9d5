"""Both lids of one eye built anew on its globe and sewn into the head. Life size, posed frame."""

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from ...geometry.errors import NotPossible
from ...geometry.mesh import Mesh
from ...geometry.solids.star_patch import can_be_sewn, flipped, with_star_patch
from ...geometry.views.inside_view import InsideView, view_from_inside
from ..eyes.eye import CREASE_HEIGHT, FISSURE_LENGTH, LID_THICKNESS, LOWER_LID_THICKNESS, EyeShape
from ..eyes.fissure import Fissure
from ..eyes.globe_fit import AHEAD
from .globe_placing import REACH
from .lid_cover import covered_about
from .lid_fissure import FissureSize, FissureWishes, as_asked, drawn_margin, fissure_margin, fissure_size
from .lid_form import BEHIND, LidForm
from .lid_margin import opening_through
from .lid_plug import plugged
from .lid_rings import SPOKES, ways_to
from .lid_skin import laid_out, scanned_lids
from .lid_surface import LidSurface, PatchEdge

_TRIES = (1.0, 1.2, 0.85, 1.5, 0.7, 1.8, 2.2)  # of the blend, until the seam falls where the skin does not fold
_REACH = BEHIND + REACH + 6.0
_SPAN = (BEHIND - 10.0, _REACH)  # distances from behind at which the skin about an eye lies
_UNDER_SKIN = 2.0  # mm under what is seen of the skin that may still be skin, between places looked at

INWARD, OUTWARD, KEEP_TRUE = "inward", "outward", "true"


@dataclass(frozen=True)
class LidWishes:
    """What is asked of the lids, mm at life size; 0 leaves it as the scan shows it.

    `fissure` is the opening between them; `least` the printable thickness; `room` says what makes room for it: `INWARD`
    the eye is set back as far as that needs, `OUTWARD` the lids are raised, `KEEP_TRUE` the eye is set back until the
    lids are as thick as they truly are; `blend` the width of the join to the untouched skin.
    """

    fissure: FissureWishes = field(default_factory=FissureWishes)
    crease_height: float = 0.0
    crease_depth: float = 0.8
    thickness: float = 0.0
    least: float = 0.0
    room: str = INWARD
    blend: float = 3.5


@dataclass(frozen=True, eq=False)
class EyeBed:
    """What one eye's lids are built on.

    `fissure` comes from the landmarks and gives the corners; `margin` is (k, 3), as found on the head; `drawn` the
    (n, 3) points of the upper and the lower margin drawn by hand, from inner to outer corner, if there are any;
    `centre` the globe's (3,) centre and `sitter` the radius of the sitter's own; `shape`, `axis` and `gap` are the eye
    that goes in, its (3,) axis and the clearance round it; `told` means that the margin is not the scan's but the
    fissure's own, which gives its size; `lost`, that the scan shows no lids to read anything off.
    """

    fissure: Fissure
    margin: NDArray[np.float64]
    centre: NDArray[np.float64]
    sitter: float
    shape: EyeShape
    axis: NDArray[np.float64]
    gap: float
    drawn: tuple[NDArray[np.float64], NDArray[np.float64]] | None = None
    told: bool = False
    lost: bool = False


@dataclass(frozen=True, eq=False)
class BuiltLids:
    """The head, in its own size, with the lids of one eye, and what they came out as, mm at life size.

    `true` is the thickness of the sitter's upper and lower lid; `form` holds what they were made. `raised` is how far
    they were raised, `sunk` how far the eye was set back, to make them so; `plugged` whether they were set in as a
    plug. `margin` is the (k, 3) edge of the fissure on the new surface, `opening` the (k, 3) one round what shows.
    """

    head: Mesh
    form: LidForm
    margin: NDArray[np.float64]
    opening: NDArray[np.float64]
    true: tuple[float, float]
    raised: float
    sunk: float
    plugged: bool

    @property
    def size(self) -> FissureSize:
        """The fissure, as calipers take it."""
        return fissure_size(self.margin)


def built_lids(head: Mesh, scale: float, eye: EyeBed, wishes: LidWishes) -> BuiltLids:
    """Replace the lump where the lids were.

    Parameters
    ----------
    head : closed, in its own size; all else is told at life size
    scale : millimetres of the head for one at life size
    eye, wishes : what they are built on, and what is asked for

    Raises
    ------
    NotPossible
        Too little skin is seen about the eye.
    """
    behind = eye.centre - BEHIND * AHEAD
    life = Mesh(head.vertices / scale, head.triangles)
    # The first surface from within is the skin; what hangs in front of it is lashes.
    view = view_from_inside(life, behind, AHEAD, _REACH, pixel=0.003, widest=0.6, nearest=_SPAN[0], outer=True)
    frame = opening_through(eye.margin, behind).frame
    covered = covered_about(life, view, frame, _REACH, _SPAN[0])

    def on_lids(form: LidForm) -> NDArray[np.float64]:
        return LidSurface(view, form, frame, wishes.blend, covered).border()

    form, true = _found_form(view, frame, eye, wishes)
    form, raised, sunk = _thick_enough(form, true, eye, wishes)
    found = on_lids(form) if eye.drawn is None else np.concatenate([eye.drawn[0][:-1], eye.drawn[1][:0:-1]])
    size = FissureSize(eye.fissure.length, eye.fissure.height, 0.0) if eye.told else fissure_size(found)
    form = as_asked(form, wishes.fissure, size, on_lids)
    made, plugged = _set_in(head, scale, LidSurface(view, form, frame, wishes.blend, covered))
    opening = LidSurface(view, form, frame, wishes.blend, covered).opening()
    return BuiltLids(made, form, on_lids(form), opening, true, raised, sunk, plugged)


def _set_in(head: Mesh, scale: float, lids: LidSurface) -> tuple[Mesh, bool]:
    """The head with the lids sewn in; where its skin is torn or folded along every seam tried, set in as a plug."""
    behind, frame = lids.view.centre, lids.frame
    tip = behind + frame[2] * float(lids.form.bed(frame[2:])[0])
    for factor in _TRIES:
        wider = replace(lids, blend=factor * lids.blend)
        edge = wider.edge()
        nearest = _nearest_skin(wider, edge)
        # Most of the time goes into the new surface, which is laid only where a seam can run.
        hole = (head, behind * scale, frame, edge.turns, edge.angles)
        if not can_be_sewn(*hole, _span(nearest, scale)):
            continue
        rings = wider.rings(edge)
        nearest = min(nearest, float(np.linalg.norm(rings - behind, axis=2).min()))
        try:
            sewn = with_star_patch(*hole, rings * scale, tip * scale, _span(nearest, scale))
        except NotPossible:  # torn along this edge: the next one may run beside the tear
            continue
        first = len(sewn.vertices) - rings.shape[0] * rings.shape[1] - 1
        if not flipped(sewn, behind * scale, first):
            return sewn, False
    return plugged(head, scale, lids, tip), True


def _nearest_skin(lids: LidSurface, edge: PatchEdge) -> float:
    """Least distance from behind of the skin within an edge."""
    places = np.concatenate([edge.within(share) for share in np.linspace(0.0, 1.0, 41)[1:]])
    skin = lids.view.distances(ways_to(places, lids.frame))
    return float(skin.min(initial=np.inf, where=np.isfinite(skin)))


def _span(nearest: float, scale: float) -> tuple[float, float]:
    """Distances from behind between which the skin about an eye lies: a thin solid's back does not."""
    return max(_SPAN[0], nearest - _UNDER_SKIN) * scale, _SPAN[1] * scale


def _found_form(
    view: InsideView, frame: NDArray[np.float64], eye: EyeBed, wishes: LidWishes
) -> tuple[LidForm, tuple[float, float]]:
    """The form of the lids as found or drawn, and the true thickness of the upper and the lower one."""
    if eye.drawn is None:
        inner, outer = laid_out(np.stack([eye.fissure.inner, eye.fissure.outer]) - view.centre, frame)
        seen = laid_out(eye.margin - view.centre, frame)
        inner, outer = (inner, outer) if eye.told else _past_margin(seen, inner, outer)
        curve = fissure_margin(seen, inner, outer, SPOKES)
    else:
        upper, lower = (laid_out(lid - view.centre, frame) for lid in eye.drawn)
        curve = drawn_margin(upper, lower, SPOKES)
        inner, outer = curve[0], curve[SPOKES // 2]
    globe = eye.centre - view.centre
    form = LidForm(curve, inner, outer, globe, laid_out(globe[None], frame)[0], eye.shape, eye.axis, eye.gap)
    form = replace(form, crease_depth=wishes.crease_depth, least=wishes.least)
    scanned, crease = _published(eye) if eye.lost else scanned_lids(view, form, frame, eye.sitter)
    true = (wishes.thickness, wishes.thickness) if wishes.thickness else scanned
    return replace(form, crease_height=wishes.crease_height or crease), true


def _published(eye: EyeBed) -> tuple[tuple[float, float], float]:
    """Thickness of both lids, and height of the crease; in proportion in an eye that is smaller than an adult's."""
    small = min(1.0, eye.fissure.length / FISSURE_LENGTH)
    return (small * LID_THICKNESS, small * LOWER_LID_THICKNESS), small * CREASE_HEIGHT


def _past_margin(
    seen: NDArray[np.float64], inner: NDArray[np.float64], outer: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The corners, moved out to where the margin that was seen does not overrun them."""
    way = (outer - inner) / np.linalg.norm(outer - inner)
    share = (seen - inner) @ way
    past = max(0.0, float(share.max()) + 0.5 - float((outer - inner) @ way))
    return inner - way * max(0.0, 0.5 - float(share.min())), outer + way * past


def _thick_enough(
    form: LidForm, true: tuple[float, float], eye: EyeBed, wishes: LidWishes
) -> tuple[LidForm, float, float]:
    """The form with the thickness its lids are made in, how far they are raised for it, and how far the eye is sunk.

    The outer surface stays where the sitter's is: what gap and eye take away is missing from the lid. Where too little
    is left to print, the eye makes room inward, or the lids are raised; `keep_true` has it make room for all of it.
    """
    left = [eye.sitter + each - eye.shape.sclera - eye.gap for each in true]
    wanted = [max(each, wishes.least) for each in (true if wishes.room == KEEP_TRUE else left)]
    lacking = max(0.0, *(b - a for a, b in zip(left, wanted, strict=True)))
    if wishes.room == OUTWARD:
        return replace(form, upper=wanted[0], lower=wanted[1]), lacking, 0.0
    upper, lower = (each + lacking for each in left)
    return replace(form, globe=form.globe - lacking * eye.axis, upper=upper, lower=lower), 0.0, lacking
