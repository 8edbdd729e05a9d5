"""The form of a pair of lids on a globe: margins, tarsal plates, crease and inner corner. Life size, posed frame.

The lids are looked at from a point behind the globe, from which they and the skin about them are seen whole. Places are
laid out on a plane about the way ahead: angle from ahead times `LAYOUT`, so that a millimetre on it is about one on the
lids.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from ..geometry.curves import depth_inside
from .eye import CREASE_HEIGHT, LID_THICKNESS, LOWER_LID_THICKNESS, EyeShape

BEHIND = 60.0
"""How far behind the globe's centre the lids are looked at from, mm: rays nearly side by side, so that brow and nose,
which stand nearer, are not spread out."""

LAYOUT = BEHIND + 13.0
"""Millimetres a radian stands for: the middle of a lid lies this far ahead."""

_ROUND = 0.38  # share of the lid's thickness that its front edge is rounded by; the rest must print
_CARUNCLE = (5.6, 3.0)  # mm from the inner corner: where the caruncle leaves the globe, and where it stands
_OUTER_FOLD = (3.2, 1.2)  # the same at the outer corner, where the lids' conjunctiva closes over the globe's flank
_CORNER_RIM = 0.5  # of the lids' thickness: how thick caruncle and fold are where the opening over the eye ends
_SUNK_CORNER = 0.12  # of the lids' thickness: how far caruncle and fold stay behind the lids' edge
_WAY = np.linspace(0.0, 1.0, 101)
_FLANK = 0.94  # of a sphere's radius, 70 degrees round it
_CREASE_WIDTH = 0.65  # mm, standard deviation of the crease's groove


@dataclass(frozen=True, eq=False)
class LidForm:
    """Lids to be laid on a globe.

    Parameters
    ----------
    margin : (k, 2) closed fissure on the plane, from the inner corner along the upper lid to the outer and back
    inner, outer : (2,) its corners
    globe, foot : the globe's centre, (3,) as seen from the point behind it and (2,) on the plane
    shape, axis : the eye and its (3,) optic axis
    gap : clearance between eye and lid
    upper, lower : thickness of the lids at the margin
    crease_height, crease_depth : of the upper lid's fold, above the margin and under the skin
    least : thickness the fold leaves under itself
    """

    margin: NDArray[np.float64]
    inner: NDArray[np.float64]
    outer: NDArray[np.float64]
    globe: NDArray[np.float64]
    foot: NDArray[np.float64]
    shape: EyeShape
    axis: NDArray[np.float64]
    gap: float
    upper: float = LID_THICKNESS
    lower: float = LOWER_LID_THICKNESS
    crease_height: float = CREASE_HEIGHT
    crease_depth: float = 0.8
    least: float = 0.0

    @property
    def length(self) -> float:
        """From corner to corner on the plane."""
        return float(np.linalg.norm(self.outer - self.inner))

    @property
    def height(self) -> float:
        """Greatest height of the fissure across the line of its corners."""
        _, up = self.along(self.margin)
        return float(np.ptp(up))

    def along(self, places: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Share of the way from inner to outer corner, and height above that line, of (n, 2) places."""
        chord = self.outer - self.inner
        length = float(np.linalg.norm(chord))
        way = chord / length
        normal = np.array([-way[1], way[0]])
        normal = normal if normal[1] > 0 else -normal
        off = places - self.inner
        return np.asarray(off @ way / length), np.asarray(off @ normal)

    def beyond(self, places: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n,) distance of places outside the margin; negative between the lids."""
        return -depth_inside(places, self.margin)

    def upness(self, places: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n,) 1 on the upper lid, 0 on the lower, in between at the corners."""
        share, up = self.along(places)
        edge = 1.0 + 2.0 * np.exp(-((np.minimum(np.abs(share), np.abs(1 - share)) / 0.12) ** 2))
        return np.asarray(0.5 + 0.5 * np.tanh(up / edge))

    def thickness(self, places: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n,) thickness of the lid under each place, before its front edge is rounded."""
        upness = self.upness(places)
        return np.asarray(upness * self.upper + (1 - upness) * self.lower)

    def over_globe(self, directions: NDArray[np.float64], off: float | NDArray[np.float64]) -> NDArray[np.float64]:
        """(n,) distance along each direction to the surface `off` outside eye and gap, smooth over the limbus."""
        sclera = _far_side(directions, self.globe, self.shape.sclera + self.gap + off)
        ahead = self.globe + self.axis * self.shape.cornea_ahead
        cornea = _far_side(directions, ahead, self.shape.cornea + self.gap + off)
        return np.asarray(0.25 * np.logaddexp(sclera / 0.25, cornea / 0.25))

    def bare(self, directions: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n,) distance to the eye itself."""
        ahead = self.globe + self.axis * self.shape.cornea_ahead
        sclera, cornea = self.shape.sclera, self.shape.cornea
        return np.asarray(np.maximum(_far_side(directions, self.globe, sclera), _far_side(directions, ahead, cornea)))

    def surface(
        self, places: NDArray[np.float64], directions: NDArray[np.float64], skin: NDArray[np.float64]
    ) -> NDArray[np.float64]:
        """(n,) distance to the lids' outer surface along each direction.

        Parameters
        ----------
        places, directions : (n, 2) on the plane and (n, 3) unit vectors, the same places
        skin : (n,) distance to the skin without its lumps: the lids rise to it where it stands out of them
        """
        beyond, thick = self.beyond(places), self.thickness(places)
        filled, tip = self._corners(places)
        lean = self.lean(places, thick) * (1 + 0.8 * filled)  # caruncle and fold meet the lids softly
        radius = _ROUND * (1 - 0.7 * filled) * thick  # a corner's edge is drawn finer, over what fills it
        inward = np.clip(radius - np.maximum(beyond - lean, 0.0), 0.0, radius)
        rounding = radius - np.sqrt(radius**2 - inward**2)
        plate = self.over_globe(directions, thick)
        # Skin that is no more than level with the plate must not lift it: it counts from a little under itself.
        skin = skin - 0.4 * np.exp(-((np.maximum(beyond, 0.0) / 4.0) ** 2))
        lids = 0.3 * np.logaddexp(plate / 0.3, skin / 0.3)
        floor = self.over_globe(directions, self.least)
        lids = np.maximum(lids - self._crease(places, beyond), np.minimum(lids, floor))
        bed = self.bare(directions)
        bed = bed + filled * (lids - (_SUNK_CORNER + 0.1 * tip) * thick + self._caruncle(places) * thick - bed)
        lids = lids - rounding
        between = np.minimum(bed, lids - 0.05 * tip * thick)
        up_the_edge = np.clip((beyond + lean) / (2 * lean), 0.0, 1.0)
        return np.asarray(between + up_the_edge * (lids - between))

    def lean(self, places: NDArray[np.float64], thick: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n,) how far the lid's edge runs to either side of the margin from its foot on the globe to its front.

        The edge stands square on the globe, so it is the wider the farther it lies off the axis of the view.
        """
        off = np.linalg.norm(places - self.foot, axis=1)
        return np.asarray(np.clip(0.5 * off * (thick + self.gap) / self.shape.sclera, 0.05, 0.5))

    def _crease(self, places: NDArray[np.float64], beyond: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n,) depth of the upper lid's fold: full over the middle of the lid, running out towards the corners."""
        share, up = self.along(places)
        bow = np.clip(4 * share * (1 - share), 0.0, 1.0)
        height = self.crease_height * (0.45 + 0.55 * bow)
        groove = np.exp(-0.5 * ((beyond - height) / _CREASE_WIDTH) ** 2)
        return np.asarray(self.crease_depth * groove * bow * (2 - bow) * (up > 0))

    def inner_border(self, places: NDArray[np.float64], edge: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n, 3) where the lids' edges end on the pocket, as the fissure is seen from the front.

        Parameters
        ----------
        places, edge : (n, 2) on the plane and (n, 3) half way up the edge, which stands square on the globe; in the
            corners, where no pocket shows, the edge itself
        """
        ways = edge - self.globe
        off = np.linalg.norm(ways, axis=1, keepdims=True)
        border = self.globe + ways / off * self.shape.reach(ways @ self.axis / off[:, 0], self.gap)[:, None]
        return np.asarray(border + self._corners(places)[0][:, None] * (edge - border))

    def _corners(self, places: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """(n,) how far each place is filled up between the lids, by caruncle or outer fold, from 0 to 1; and (n,) how
        far it is from the corner's very tip, where nothing is left to step over, from 0 to 1.
        """
        filled, tip = np.zeros(len(places)), np.ones(len(places))
        for corner, (foot, top) in ((self.inner, _CARUNCLE), (self.outer, _OUTER_FOLD)):
            away = np.linalg.norm(places - corner, axis=1)
            filled = np.maximum(filled, eased((foot - away) / (foot - top)))
            tip = np.minimum(tip, eased(away / top))
        return filled, tip

    def _caruncle(self, places: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n,) height of the bead in the inner corner, as a share of the lids' thickness."""
        away = np.linalg.norm(places - self.inner, axis=1)
        return np.asarray(0.2 * np.exp(-((away - _CARUNCLE[1] + 0.3) ** 2) / 0.8))

    def exposed(self) -> NDArray[np.float64]:
        """(k, 2) closed curve round what shows of the eye: the margin, cut short at both corners where it is filled."""
        shown = np.ones(len(self.margin), bool)
        thick = min(self.upper, self.lower)
        # The pocket stands a gap off the eye: what rises over it by less than that is cut away, and a little more
        # would be left as a feather.
        filled = (self.gap + _CORNER_RIM * thick) / (self.gap + (1 - _SUNK_CORNER) * thick)
        way = float(np.interp(filled, eased(_WAY), _WAY))
        for corner, (foot, top) in ((self.inner, _CARUNCLE), (self.outer, _OUTER_FOLD)):
            shown &= np.linalg.norm(self.margin - corner, axis=1) > foot + way * (top - foot)
        return np.asarray(self.margin[shown])


def _far_side(
    directions: NDArray[np.float64], centre: NDArray[np.float64], radius: float | NDArray[np.float64]
) -> NDArray[np.float64]:
    """(n,) distance at which rays leave a sphere.

    Towards the sphere's flank it falls off ever steeper, and a lid laid on it would end in a ridge there: where a ray
    passes the centre at more than `_FLANK` of the radius, the sphere goes over into its tangent cone.
    """
    along = directions @ centre
    passing = np.sqrt(np.maximum(centre @ centre - along**2, 0.0))
    edge = _FLANK * radius
    depth = np.sqrt(np.maximum(radius**2 - np.minimum(passing, edge) ** 2, 0.0))
    slope = _FLANK / np.sqrt(1 - _FLANK**2)
    return np.asarray(along + depth - slope * np.maximum(passing - edge, 0.0))


def eased(share: NDArray[np.float64]) -> NDArray[np.float64]:
    """From 0 to 1 as the share does, level at both ends."""
    within = np.clip(share, 0.0, 1.0)
    return np.asarray(within * within * (3 - 2 * within))


def smoothed_over(
    places: NDArray[np.float64], values: NDArray[np.float64], at: NDArray[np.float64], spread: float
) -> NDArray[np.float64]:
    """(m,) robust local planes through values given at (n, 2) places, read at (m, 2) others: the skin without lumps.

    Planes and not means: where the skin falls away steeply a robust mean takes the slope's two ends for outliers in
    turn, and leaves steps.
    """
    near, which = KDTree(places).query(at, k=min(120, len(places)))
    weights = np.exp(-0.5 * (near / np.maximum(spread, near[:, :1] + 0.2)) ** 2)
    weights = weights * (
        1 - (near / near[:, -1:]) ** 2
    )  # down to nothing, so that no neighbour comes or goes at a step
    away = places[which] - at[:, None]
    terms = np.concatenate([np.ones((*near.shape, 1)), away / spread], axis=2)
    chosen = values[which]
    trust = weights
    for _ in range(3):
        pulled = (terms * trust[..., None]).transpose(0, 2, 1)
        square = pulled @ terms
        # Far outside the known places a slope would run away: there it is held to nothing.
        square += 1e-3 * trust.sum(axis=1)[:, None, None] * np.diag([0.0, 1.0, 1.0])
        plane = np.linalg.solve(square, pulled @ chosen[..., None])
        left = chosen - (terms @ plane)[..., 0]
        trust = weights / (1 + (left / 0.4) ** 2)
    return np.asarray(plane[:, 0, 0])
