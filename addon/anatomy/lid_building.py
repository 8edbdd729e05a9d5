"""Both lids of one eye built anew on its globe and sewn into the head. Life size, posed frame."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from ..geometry.angles import arc_tangent
from ..geometry.errors import NotPossible
from ..geometry.inside_view import InsideView, view_from_inside
from ..geometry.mesh import Mesh
from ..geometry.star_patch import flipped, with_star_patch
from .eye import CREASE_HEIGHT, EyeShape
from .fissure import Fissure
from .globe_fit import AHEAD
from .globe_placing import REACH
from .lid_form import BEHIND, LAYOUT, LidForm, eased, fissure_margin, smoothed_over
from .lid_margin import opening_through
from .lid_rings import SPOKES, evened_turns, patch_edge, plate_width, ring_places, spokes, ways_to

_SAMPLES = 0.55  # mm between the places the skin is read at
_TRIES = (1.0, 1.2, 0.85, 1.5, 0.7, 1.8)  # of the blend, until the seam falls where the skin does not fold
_REACH = BEHIND + REACH + 6.0
_SPAN = (BEHIND - 10.0, _REACH)  # distances from behind at which the skin about an eye lies
_CREASES = (3.5, 9.0)  # mm; heights at which a crease is looked for
_THICKNESSES = (1.2, 3.2)  # mm; what a scan may say of a lid's thickness and be believed


@dataclass(frozen=True)
class LidWishes:
    """What is asked of the lids, mm at life size; 0 leaves it as the scan shows it.

    `least` is the printable thickness; `blend` the width of the join to the untouched skin; `aperture` a factor on
    the height of the opening.
    """

    length: float = 0.0
    height: float = 0.0
    aperture: float = 1.0
    crease_height: float = 0.0
    crease_depth: float = 0.8
    thickness: float = 0.0
    least: float = 0.0
    blend: float = 3.5


@dataclass(frozen=True, eq=False)
class EyeBed:
    """What one eye's lids are built on.

    `fissure` comes from the landmarks and gives the corners; `margin` is (k, 3), as found on the head or drawn;
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

    def sunk(self, depth: float) -> "EyeBed":
        """The same with the eye so much deeper behind the same skin, mm."""
        return replace(self, centre=self.centre - depth * self.axis, sitter=self.sitter + depth)


@dataclass(frozen=True, eq=False)
class BuiltLids:
    """The head, in its own size, with the lids of one eye, and what they came out as, mm at life size."""

    head: Mesh
    form: LidForm
    opening: NDArray[np.float64]
    scanned_thickness: tuple[float, float]
    raised: float
    first_new: int


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
    form, scanned, raised = _form(view, frame, eye, wishes)
    for factor in _TRIES:
        rings, edge_turns, edge = _rings(view, form, frame, factor * wishes.blend)
        tip = behind + frame[2] * float(form.bare(frame[2:])[0])
        span = (_SPAN[0] * scale, _SPAN[1] * scale)
        sewn = with_star_patch(head, behind * scale, frame, edge_turns, edge, rings * scale, tip * scale, span)
        first = len(sewn.vertices) - rings.shape[0] * rings.shape[1] - 1
        if not flipped(sewn, behind * scale, first):
            return BuiltLids(sewn, form, _opening(form, behind, frame), scanned, raised, first)
    x, y, z = eye.centre
    raise NotPossible(
        f"the skin about the globe at ({x:.1f}, {y:.1f}, {z:.1f}) folds over itself: smooth it there, or try another "
        "blend"
    )


def _rings(
    view: InsideView, form: LidForm, frame: NDArray[np.float64], blend: float
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """(r, k, 3) vertices of the new surface, and the (k,) turns and angles of the patch's edge."""
    around, at_margin = spokes(form)
    outward = evened_turns(form, around, at_margin, blend)
    edge = patch_edge(form, outward, at_margin.min() * np.ones(SPOKES), blend)
    places = ring_places(around, outward, at_margin, edge)
    directions = ways_to(places, frame)
    distances = _distances(view, form, frame, places.reshape(-1, 2), directions.reshape(-1, 3), blend)
    return view.centre + directions * distances.reshape(places.shape[:2])[..., None], outward, edge


def _opening(form: LidForm, behind: NDArray[np.float64], frame: NDArray[np.float64]) -> NDArray[np.float64]:
    """(k, 3) the margin round what shows of the eye, half way up the lids' edge."""
    places = form.exposed()
    places = places * (1 + 0.12 / np.linalg.norm(places, axis=1, keepdims=True))  # plainly on the lid, not on its brink
    directions = ways_to(places, frame)
    return np.asarray(behind + directions * form.over_globe(directions, form.thickness(places) / 2)[:, None])


def _laid_out(ways: NDArray[np.float64], frame: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n, 2) places on the plane of (n, 3) directions of any length."""
    across, up, ahead = (ways @ frame.T).T
    off = np.maximum(np.hypot(across, up), 1e-12)
    return np.asarray(LAYOUT * (arc_tangent(off, ahead) / off)[:, None] * np.column_stack([across, up]))


def _form(
    view: InsideView, frame: NDArray[np.float64], eye: EyeBed, wishes: LidWishes
) -> tuple[LidForm, tuple[float, float], float]:
    """The form the lids take, the thickness the scan shows (upper, lower), and how far they are raised to print."""
    seen = _laid_out(eye.margin - view.centre, frame)
    inner, outer = _laid_out(np.stack([eye.fissure.inner, eye.fissure.outer]) - view.centre, frame)
    way = (outer - inner) / np.linalg.norm(outer - inner)
    share = (seen - inner) @ way
    inner = inner - way * max(0.0, 0.5 - float(share.min()))
    outer = outer + way * max(0.0, float(share.max()) + 0.5 - float((outer - inner) @ way))
    curve = fissure_margin(seen, inner, outer, SPOKES)
    globe = eye.centre - view.centre
    form = LidForm(curve, inner, outer, globe, _laid_out(globe[None], frame)[0], eye.shape, eye.axis, eye.gap)
    form = _as_asked(replace(form, crease_depth=wishes.crease_depth, least=0.75 * wishes.least), wishes)
    scanned, crease = _scanned_lids(view, form, frame, eye.sitter)
    form = replace(form, crease_height=wishes.crease_height or crease)
    taken = (wishes.thickness, wishes.thickness) if wishes.thickness else scanned
    # The outer surface stays where the sitter's is; what gap and eye take away is missing from the lid.
    left = [eye.sitter + each - eye.shape.sclera - eye.gap for each in taken]
    thick = [max(each, wishes.least) for each in left]
    return replace(form, upper=thick[0], lower=thick[1]), scanned, max(b - a for a, b in zip(left, thick, strict=True))


def _as_asked(form: LidForm, wishes: LidWishes) -> LidForm:
    """The form with its fissure stretched to the length and height asked for."""
    share, up = form.along(form.margin)
    tall = (wishes.height / form.height if wishes.height else 1.0) * wishes.aperture
    longer = wishes.length / form.length if wishes.length else 1.0
    middle = (form.inner + form.outer) / 2
    inner, outer = middle + longer * (form.inner - middle), middle + longer * (form.outer - middle)
    chord = outer - inner
    normal = np.array([-chord[1], chord[0]]) / np.linalg.norm(chord)
    normal = normal if normal[1] > 0 else -normal
    return replace(form, margin=inner + share[:, None] * chord + tall * up[:, None] * normal, inner=inner, outer=outer)


def _scanned_lids(
    view: InsideView, form: LidForm, frame: NDArray[np.float64], sitter: float
) -> tuple[tuple[float, float], float]:
    """How far the skin stands off the sitter's globe over both tarsal plates, and how high the upper crease lies.

    The crease is where the skin over the upper lid has left the plate; the published height, where it does not show.
    """
    span = np.linspace(-16, 16, 81)
    places = np.stack(np.meshgrid(span, span), axis=-1).reshape(-1, 2)
    directions = ways_to(places, frame)
    skin = directions * view.distances(directions)[:, None] - form.globe
    away = np.linalg.norm(skin, axis=1)
    rise = away - EyeShape(2 * sitter).reach(skin @ form.axis / away)
    beyond = form.beyond(places)
    share, up = form.along(places)
    plate = (beyond > 1.2) & (beyond < 4.5) & (share > 0.25) & (share < 0.8) & np.isfinite(rise)
    found = []
    for side, usual in ((up > 0, form.upper), (up <= 0, form.lower)):
        thick = float(np.median(rise[plate & side])) if (plate & side).any() else usual
        found.append(float(np.clip(thick, *_THICKNESSES)))
    over = (up > 0) & (share > 0.3) & (share < 0.75) & np.isfinite(rise)
    crease = CREASE_HEIGHT
    for height in np.arange(_CREASES[0], _CREASES[1], 0.5):
        here = over & (np.abs(beyond - height) < 0.75)
        if here.sum() > 5 and np.median(rise[here]) > found[0] + 0.6:
            crease = float(height) - 0.5
            break
    return (found[0], found[1]), crease


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
    smooth = _without_lumps(view, form, frame, places)
    kept = eased((form.beyond(places) - plate_width(form, places)) / blend)
    lids = form.surface(places, directions, smooth)
    lumps = np.where(np.isfinite(skin), skin - smooth, 0.0)
    most = 0.25 + 4.0 * kept**2  # lumps of lash and noise die away before the new surface is reached
    joined = lids + kept * (smooth + np.clip(lumps, -most, most) - lids)
    # Skin that would lie within the eye's pocket is lifted over it, as far as the join reaches.
    lifted = (1 - kept) * eased(form.beyond(places) - 1.0)
    return np.asarray(joined + lifted * np.maximum(form.over_globe(directions, form.least) - joined, 0.0))


def _without_lumps(
    view: InsideView, form: LidForm, frame: NDArray[np.float64], places: NDArray[np.float64]
) -> NDArray[np.float64]:
    """(n,) distance to the skin about the lids as it would be without lashes and noise, running on under the lids.

    Robust means on a grid, and a spline through them: evened place by place they would leave a grain of their own.
    """
    low, high = places.min(axis=0), places.max(axis=0)
    ticks = [np.arange(low[axis], high[axis] + _SAMPLES, _SAMPLES) for axis in (0, 1)]
    grid = np.stack(np.meshgrid(*ticks, indexing="ij"), axis=-1)
    samples = grid.reshape(-1, 2)
    seen = view.distances(ways_to(samples, frame))
    known = np.isfinite(seen) & (form.beyond(samples) > 0.6)
    if known.sum() < 200:
        raise NotPossible("too little skin is seen about the eye to build lids on: place the eye again")
    field = smoothed_over(samples[known], seen[known], samples, 1.8).reshape(grid.shape[:2])
    return np.asarray(map_coordinates(field, ((places - low) / _SAMPLES).T, order=3, mode="nearest"))
