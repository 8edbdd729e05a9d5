"""What the scan says of the skin about the lids: how thick they are, where they fold, how it runs without lumps."""

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from ...geometry.angles import arc_tangent
from ...geometry.errors import NotPossible
from ...geometry.views.inside_view import InsideView
from ..eyes.eye import CREASE_HEIGHT, EyeShape
from .lid_cover import Covered, stretched
from .lid_form import LAYOUT, LidForm, smoothed_over
from .lid_rings import ways_to

_SAMPLES = 0.55  # mm between the places the skin is read at
_CREASES = (3.5, 9.0)  # mm; heights at which a crease is looked for
_THICKNESSES = (1.2, 3.2)  # mm; what a scan may say of a lid's thickness and be believed


def laid_out(ways: NDArray[np.float64], frame: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n, 2) places on the plane of (n, 3) directions of any length."""
    across, up, ahead = (ways @ frame.T).T
    off = np.maximum(np.hypot(across, up), 1e-12)
    return np.asarray(LAYOUT * (arc_tangent(off, ahead) / off)[:, None] * np.column_stack([across, up]))


def scanned_lids(
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


def without_lumps(
    view: InsideView, form: LidForm, frame: NDArray[np.float64], places: NDArray[np.float64], covered: Covered
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
    hidden = covered.share(samples) > 0.5
    field = smoothed_over(samples[known], seen[known], samples, 1.8).reshape(grid.shape[:2])
    if hidden.any():
        field = stretched(field, hidden.reshape(grid.shape[:2]))
    return np.asarray(map_coordinates(field, ((places - low) / _SAMPLES).T, order=3, mode="nearest"))
