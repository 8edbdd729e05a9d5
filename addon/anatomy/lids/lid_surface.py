"""The new surface of a pair of lids, passing over into the skin about them as it was scanned. Life size."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...geometry.views.inside_view import InsideView
from .lid_corners import eased
from .lid_cover import Covered
from .lid_form import LAYOUT, LidForm
from .lid_rings import SPOKES, evened_turns, patch_edge, plate_width, ring_places, spokes, ways_to
from .lid_skin import without_lumps

_PAST, _UNDER = 0.4, 0.06  # mm past the patch's edge, and under the skin there, at which a plug's wall begins


@dataclass(frozen=True, eq=False)
class PatchEdge:
    """Where a new surface ends: (k,) `turns` of its spokes and `angles` off the middle of the fissure."""

    turns: NDArray[np.float64]
    angles: NDArray[np.float64]

    def within(self, share: float, past: float = 0.0) -> NDArray[np.float64]:
        """(k, 2) places on the plane at a share of the way to it and so many mm further."""
        out = (share * LAYOUT * self.angles + past)[:, None]
        return np.asarray(out * np.column_stack([np.cos(self.turns), np.sin(self.turns)]))


@dataclass(frozen=True, eq=False)
class LidSurface:
    """Lids of a form, laid in the skin.

    `view` looks at it from behind the globe, `frame` holds the (3, 3) rows across, up and ahead of the plane the lids
    are laid out on; `blend` is the width of the join, mm; `covered` where something hangs before the skin.
    """

    view: InsideView
    form: LidForm
    frame: NDArray[np.float64]
    blend: float
    covered: Covered

    def distances(self, places: NDArray[np.float64], directions: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n,) distance from the look-out, at (n, 2) places on the plane and the (n, 3) unit ways to them."""
        form = self.form
        skin = self.view.distances(directions)
        smooth = without_lumps(self.view, form, self.frame, places, self.covered)
        kept = eased((form.beyond(places) - plate_width(form, places)) / self.blend)
        lids = form.surface(places, directions, smooth)
        lumps = np.where(np.isfinite(skin), skin - smooth, 0.0) * (1 - self.covered.share(places))
        most = 0.25 + 4.0 * kept**2  # lumps of lash and noise die away before the new surface is reached
        joined = lids + kept * (smooth + np.clip(lumps, -most, most) - lids)
        # Skin that would lie within the eye's pocket is lifted over it, as far as the join reaches.
        lifted = (1 - kept) * eased(form.beyond(places) - 1.0)
        return np.asarray(joined + lifted * np.maximum(form.over_globe(directions, form.least) - joined, 0.0))

    def laid(self, places: NDArray[np.float64]) -> NDArray[np.float64]:
        """(..., 3) points of the surface at (..., 2) places on the plane."""
        directions = ways_to(places, self.frame)
        away = self.distances(places.reshape(-1, 2), directions.reshape(-1, 3)).reshape(places.shape[:-1])
        return np.asarray(self.view.centre + directions * away[..., None])

    def edge(self, even: bool = True) -> PatchEdge:
        """Where it ends, at even steps to be sewn along, or at the turns of the margin, whose spokes cross nowhere."""
        around, order = spokes(self.form)
        at_margin = np.linalg.norm(self.form.margin[order], axis=1) / LAYOUT
        turns = evened_turns(self.form, around, at_margin, self.blend) if even else around
        return PatchEdge(turns, patch_edge(self.form, turns, at_margin.min() * np.ones(SPOKES), self.blend))

    def rings(self, edge: PatchEdge) -> NDArray[np.float64]:
        """(r, k, 3) the surface as rings of vertices about the middle of the fissure, the last one within its edge."""
        _, order = spokes(self.form)
        return self.laid(ring_places(self.form, order, edge.turns, edge.angles))

    def under_skin(self, edge: PatchEdge) -> NDArray[np.float64]:
        """(k, 3) one more ring, just past the patch's edge and just under the skin, for a surface set in as a plug."""
        ring = self.laid(edge.within(1.0, _PAST))
        away = ring - self.view.centre
        return np.asarray(ring - _UNDER * away / np.linalg.norm(away, axis=1, keepdims=True))

    def opening(self) -> NDArray[np.float64]:
        """(k, 3) curve round what shows of the eye, half way up its wall."""
        places = self.form.shown.curve
        directions = ways_to(places, self.frame)
        off = self.form.over_globe(directions, self.form.thickness(places) / 2)
        return np.asarray(self.view.centre + directions * off[:, None])

    def border(self) -> NDArray[np.float64]:
        """(k, 3) where the lids' edges end on the pocket, as the fissure is seen from the front; in the corners, which
        are filled, the margin as it lies on the new surface.
        """
        form, shown = self.form, self.form.shown
        foot, top = form.lean(shown.curve)
        steps = np.linspace(0.0, 1.0, 9)[:, None] * (foot + top) - foot
        places = np.concatenate([shown.curve + steps[..., None] * shown.square, form.margin[None]])
        directions = ways_to(places, self.frame)
        flat, ways = places.reshape(-1, 2), directions.reshape(-1, 3)
        distances = self.distances(flat, ways).reshape(places.shape[:2])
        pocket = form.pocket(ways).reshape(places.shape[:2])
        over, each = (distances - pocket)[:-1], np.arange(len(form.margin))
        risen = np.clip(np.argmax(over > 0, axis=0), 1, len(over) - 1)
        below, above = over[risen - 1, each], over[risen, each]
        share = np.clip(-below / np.maximum(above - below, 1e-9), 0.0, 1.0)[:, None]
        points = self.view.centre + directions * np.concatenate([pocket[:-1], distances[-1:]])[..., None]
        border = points[risen - 1, each] + share * (points[risen, each] - points[risen - 1, each])
        return np.asarray(border + eased(shown.apart / 0.8)[:, None] * (points[-1] - border))
