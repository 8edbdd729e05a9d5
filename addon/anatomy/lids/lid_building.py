"""Both lids of one eye built anew on its globe and sewn into the head. Life size, posed frame."""

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from ...geometry.errors import NotPossible
from ...geometry.mesh import Mesh
from ...geometry.solids.star_patch import flipped, with_star_patch
from ...geometry.views.inside_view import InsideView, view_from_inside
from ..eyes.eye import EyeShape
from ..eyes.fissure import Fissure
from ..eyes.globe_fit import AHEAD
from .globe_placing import REACH
from .lid_corners import eased
from .lid_fissure import FissureSize, FissureWishes, as_asked, drawn_margin, fissure_margin, fissure_size
from .lid_form import BEHIND, LAYOUT, LidForm
from .lid_margin import opening_through
from .lid_rings import SPOKES, evened_turns, patch_edge, plate_width, ring_places, spokes, ways_to
from .lid_skin import laid_out, scanned_lids, without_lumps

_TRIES = (1.0, 1.2, 0.85, 1.5, 0.7, 1.8, 2.2)  # of the blend, until the seam falls where the skin does not fold
_REACH = BEHIND + REACH + 6.0
_SPAN = (BEHIND - 10.0, _REACH)  # distances from behind at which the skin about an eye lies


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
    that goes in, its (3,) axis and the clearance round it.
    """

    fissure: Fissure
    margin: NDArray[np.float64]
    centre: NDArray[np.float64]
    sitter: float
    shape: EyeShape
    axis: NDArray[np.float64]
    gap: float
    drawn: tuple[NDArray[np.float64], NDArray[np.float64]] | None = None


@dataclass(frozen=True, eq=False)
class BuiltLids:
    """The head, in its own size, with the lids of one eye, and what they came out as, mm at life size.

    `true` is the thickness of the sitter's upper and lower lid; `form` holds what they were made. `raised` is how far
    they were raised, `sunk` how far the eye was set back, to make them so. `margin` is the (k, 3) edge of the fissure
    on the new surface, `opening` the (k, 3) one round what shows of the eye.
    """

    head: Mesh
    form: LidForm
    margin: NDArray[np.float64]
    opening: NDArray[np.float64]
    true: tuple[float, float]
    raised: float
    sunk: float
    first_new: int

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
        The surface about the eye is torn or folded, or hides parts of itself from the globe's centre.
    """
    behind = eye.centre - BEHIND * AHEAD
    life = Mesh(head.vertices / scale, head.triangles)
    # The first surface from within is the skin; what hangs in front of it is lashes.
    view = view_from_inside(life, behind, AHEAD, _REACH, pixel=0.003, widest=0.6, nearest=_SPAN[0])
    frame = opening_through(eye.margin, behind).frame

    def on_lids(form: LidForm) -> NDArray[np.float64]:
        return _border(view, form, frame, wishes.blend)

    form, true = _found_form(view, frame, eye, wishes)
    form, raised, sunk = _thick_enough(form, true, eye, wishes)
    found = on_lids(form) if eye.drawn is None else np.concatenate([eye.drawn[0][:-1], eye.drawn[1][:0:-1]])
    form = as_asked(form, wishes.fissure, fissure_size(found), on_lids)
    torn: NotPossible | None = None
    for factor in _TRIES:
        rings, edge_turns, edge = _rings(view, form, frame, factor * wishes.blend)
        tip = behind + frame[2] * float(form.bed(frame[2:])[0])
        span = (_SPAN[0] * scale, _SPAN[1] * scale)
        try:
            sewn = with_star_patch(head, behind * scale, frame, edge_turns, edge, rings * scale, tip * scale, span)
        except NotPossible as reason:  # torn along this edge: the next one may run beside the tear
            torn = reason
            continue
        first = len(sewn.vertices) - rings.shape[0] * rings.shape[1] - 1
        if not flipped(sewn, behind * scale, first):
            opening = _opening(form, behind, frame)
            return BuiltLids(sewn, form, on_lids(form), opening, true, raised, sunk, first)
    if torn is not None:
        raise torn
    x, y, z = eye.centre
    raise NotPossible(
        f"the skin about the globe at ({x:.1f}, {y:.1f}, {z:.1f}) folds over itself: smooth it there, or try another "
        "blend"
    )


def _rings(
    view: InsideView, form: LidForm, frame: NDArray[np.float64], blend: float
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """(r, k, 3) vertices of the new surface, and the (k,) turns and angles of the patch's edge."""
    around, order = spokes(form)
    at_margin = np.linalg.norm(form.margin[order], axis=1) / LAYOUT
    outward = evened_turns(form, around, at_margin, blend)
    edge = patch_edge(form, outward, at_margin.min() * np.ones(SPOKES), blend)
    places = ring_places(form, order, outward, edge)
    directions = ways_to(places, frame)
    distances = _distances(view, form, frame, places.reshape(-1, 2), directions.reshape(-1, 3), blend)
    return view.centre + directions * distances.reshape(places.shape[:2])[..., None], outward, edge


def _opening(form: LidForm, behind: NDArray[np.float64], frame: NDArray[np.float64]) -> NDArray[np.float64]:
    """(k, 3) curve round what shows of the eye, half way up its wall."""
    places = form.shown.curve
    directions = ways_to(places, frame)
    return np.asarray(behind + directions * form.over_globe(directions, form.thickness(places) / 2)[:, None])


def _border(view: InsideView, form: LidForm, frame: NDArray[np.float64], blend: float) -> NDArray[np.float64]:
    """(k, 3) where the lids' edges end on the pocket, as the fissure is seen from the front; in the corners, which are
    filled, the margin as it lies on the new surface.
    """
    shown = form.shown
    foot, top = form.lean(shown.curve)
    steps = np.linspace(0.0, 1.0, 9)[:, None] * (foot + top) - foot
    places = np.concatenate([shown.curve + steps[..., None] * shown.square, form.margin[None]])
    directions = ways_to(places, frame)
    flat, ways = places.reshape(-1, 2), directions.reshape(-1, 3)
    distances = _distances(view, form, frame, flat, ways, blend).reshape(places.shape[:2])
    pocket = form.pocket(ways).reshape(places.shape[:2])
    over, each = (distances - pocket)[:-1], np.arange(len(form.margin))
    risen = np.clip(np.argmax(over > 0, axis=0), 1, len(over) - 1)
    below, above = over[risen - 1, each], over[risen, each]
    share = np.clip(-below / np.maximum(above - below, 1e-9), 0.0, 1.0)[:, None]
    points = view.centre + directions * np.concatenate([pocket[:-1], distances[-1:]])[..., None]
    border = points[risen - 1, each] + share * (points[risen, each] - points[risen - 1, each])
    return np.asarray(border + eased(shown.apart / 0.8)[:, None] * (points[-1] - border))


def _found_form(
    view: InsideView, frame: NDArray[np.float64], eye: EyeBed, wishes: LidWishes
) -> tuple[LidForm, tuple[float, float]]:
    """The form of the lids as found or drawn, and the true thickness of the upper and the lower one."""
    if eye.drawn is None:
        inner, outer = laid_out(np.stack([eye.fissure.inner, eye.fissure.outer]) - view.centre, frame)
        curve, inner, outer = _found_fissure(laid_out(eye.margin - view.centre, frame), inner, outer)
    else:
        upper, lower = (laid_out(lid - view.centre, frame) for lid in eye.drawn)
        curve = drawn_margin(upper, lower, SPOKES)
        inner, outer = curve[0], curve[SPOKES // 2]
    globe = eye.centre - view.centre
    form = LidForm(curve, inner, outer, globe, laid_out(globe[None], frame)[0], eye.shape, eye.axis, eye.gap)
    form = replace(form, crease_depth=wishes.crease_depth, least=wishes.least)
    scanned, crease = scanned_lids(view, form, frame, eye.sitter)
    true = (wishes.thickness, wishes.thickness) if wishes.thickness else scanned
    return replace(form, crease_height=wishes.crease_height or crease), true


def _found_fissure(
    seen: NDArray[np.float64], inner: NDArray[np.float64], outer: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """(SPOKES, 2) curve through the margin that was seen, and its corners, which it may not overrun."""
    way = (outer - inner) / np.linalg.norm(outer - inner)
    share = (seen - inner) @ way
    inner = inner - way * max(0.0, 0.5 - float(share.min()))
    outer = outer + way * max(0.0, float(share.max()) + 0.5 - float((outer - inner) @ way))
    return fissure_margin(seen, inner, outer, SPOKES), inner, outer


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


def _distances(
    view: InsideView,
    form: LidForm,
    frame: NDArray[np.float64],
    places: NDArray[np.float64],
    directions: NDArray[np.float64],
    blend: float,
) -> NDArray[np.float64]:
    """(n,) distance of the new surface: the lids, passing over into the skin as it is."""
    skin = view.distances(directions)
    smooth = without_lumps(view, form, frame, places)
    kept = eased((form.beyond(places) - plate_width(form, places)) / blend)
    lids = form.surface(places, directions, smooth)
    lumps = np.where(np.isfinite(skin), skin - smooth, 0.0)
    most = 0.25 + 4.0 * kept**2  # lumps of lash and noise die away before the new surface is reached
    joined = lids + kept * (smooth + np.clip(lumps, -most, most) - lids)
    # Skin that would lie within the eye's pocket is lifted over it, as far as the join reaches.
    lifted = (1 - kept) * eased(form.beyond(places) - 1.0)
    return np.asarray(joined + lifted * np.maximum(form.over_globe(directions, form.least) - joined, 0.0))
