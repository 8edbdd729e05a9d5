"""The form of a pair of lids on a globe: margins, tarsal plates, crease and inner corner. Life size, posed frame.

The lids are looked at from a point behind the globe, from which they and the skin about them are seen whole. Places are
laid out on a plane about the way ahead: angle from ahead times `LAYOUT`, so that a millimetre on it is about one on the
lids.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from ...geometry.angles import arc_tangent
from ...geometry.curves import depth_inside
from ..eyes.eye import CREASE_HEIGHT, LID_THICKNESS, LOWER_LID_THICKNESS, EyeShape
from .lid_corners import Shown, eased, shown_between

BEHIND = 60.0
"""How far behind the globe's centre the lids are looked at from, mm: rays nearly side by side, so that brow and nose,
which stand nearer, are not spread out."""

LAYOUT = BEHIND + 13.0
"""Millimetres a radian stands for: the middle of a lid lies this far ahead."""

_ROUND = 0.38  # share of the lid's thickness that its front edge is rounded by; the rest must print
_EDGE = 0.75  # of the least thickness: what the front edge's rounding and the filling of a corner leave
_SUNK = 0.15  # mm: how far between the lids the surface lies within the eye, so that the pocket lays it open
_RIM = 0.3  # mm: by how much the rim of what fills a corner is rounded
_FADES = (4.5, 2.5)  # mm from the inner and the outer corner over which the step from lids to filling fades out
_FADED = 0.7  # share of that step that is gone at the very corner
_CARUNCLE = (2.6, 1.0, 0.25)  # its middle from the inner corner and its spread, mm; its height in thicknesses
_FOOT = 0.7  # of the radius of the bows in which what shows ends: how far within them the foot of its wall lies at most
_STEEPEST = 0.75  # tangent by which a lid's edge leans outwards at most
_FLANK = 0.94  # of a sphere's radius, 70 degrees round it: beyond it nothing shows, for pocket and walls would graze
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
    least : thickness the fold leaves under itself, and the edge three quarters of
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

    def pocket(self, directions: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n,) distance to the pocket itself, sharp at the limbus as it is cut."""
        ahead = self.globe + self.axis * self.shape.cornea_ahead
        sclera = _far_side(directions, self.globe, self.shape.sclera + self.gap)
        return np.asarray(np.maximum(sclera, _far_side(directions, ahead, self.shape.cornea + self.gap)))

    def bed(self, directions: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n,) distance to the surface between the lids, a little within the eye."""
        return self.over_globe(directions, -self.gap - _SUNK)

    @cached_property
    def shown(self) -> Shown:
        """What shows of the eye."""
        radius, away = self.shape.sclera + self.gap, float(np.linalg.norm(self.globe))
        beside, ahead = radius * np.array([_FLANK]), away + radius * np.sqrt(1 - _FLANK**2)
        widest = LAYOUT * float(arc_tangent(beside, ahead)[0])
        return shown_between(self.margin, self.inner, self.outer, self.foot, widest)

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
        past = -depth_inside(places, self.shown.curve)
        foot, top = self.lean(places)
        plate = self.over_globe(directions, thick)
        # Skin that is no more than level with the plate must not lift it: it counts from a little under itself.
        skin = skin - 0.4 * np.exp(-((np.maximum(beyond, 0.0) / 4.0) ** 2))
        lids = 0.3 * np.logaddexp(plate / 0.3, skin / 0.3)
        floor = self.over_globe(directions, self.least)
        lids = np.maximum(lids - self._crease(places, beyond), np.minimum(lids, floor))
        floor = self.over_globe(directions, _EDGE * self.least)
        edge = np.maximum(lids - self._step(places, beyond, past, top, thick), np.minimum(lids, floor))
        edge = edge - self._rim(beyond, past, top)
        bed = self.bed(directions)
        return np.asarray(bed + np.clip((past + foot) / (foot + top), 0.0, 1.0) * (edge - bed))

    def lean(self, places: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """(n,) how far within and beyond the curve round what shows the wall of lids and filling has foot and front.

        It stands square on the globe, so it is the wider the farther it lies off the axis of the view.
        """
        thick = self.thickness(places)
        slope = np.linalg.norm(places - self.foot, axis=1) / (self.shape.sclera + self.gap + thick / 2)
        slope = np.clip(slope, 0.12, _STEEPEST)
        front = np.maximum((1 - _ROUND) * thick, _EDGE * self.least)  # where the rounding of the edge begins
        foot = np.minimum(slope * (thick / 2 + self.gap + _SUNK), _FOOT * self.shown.narrowest)
        return np.asarray(foot), np.asarray(np.maximum(slope * (front - thick / 2), 0.04 - foot))

    def _step(
        self,
        places: NDArray[np.float64],
        beyond: NDArray[np.float64],
        past: NDArray[np.float64],
        top: NDArray[np.float64],
        thick: NDArray[np.float64],
    ) -> NDArray[np.float64]:
        """(n,) how far the surface lies under the lids': at their rounded front edge, and in the corners, where it goes
        over softly into what fills them.
        """
        radius = _ROUND * thick
        for corner, fade in zip((self.inner, self.outer), _FADES, strict=True):
            away = np.linalg.norm(places - corner, axis=1)
            radius = radius * (1 - _FADED * eased(1 - away / fade))
        inward = np.clip(radius - np.maximum(beyond - top, 0.0), 0.0, radius)
        edge = radius - np.sqrt(radius**2 - inward**2)
        soft = radius * eased((radius + 0.6 - beyond) / (radius + 1.3))
        middle, spread, height = _CARUNCLE
        bead = self.inner + middle * (self.outer - self.inner) / self.length
        bead = height * thick * np.exp(-0.5 * ((places - bead) ** 2).sum(axis=1) / spread**2)
        filled = eased((past - beyond) / 0.35)
        return np.asarray((1 - filled) * edge + filled * (soft - bead * eased(-beyond / 0.7)))

    def _rim(
        self, beyond: NDArray[np.float64], past: NDArray[np.float64], top: NDArray[np.float64]
    ) -> NDArray[np.float64]:
        """(n,) by how much the rim of what fills a corner is rounded."""
        inward = np.clip(_RIM - np.maximum(past - top, 0.0), 0.0, _RIM)
        return np.asarray(eased((past - beyond) / 0.8) * (_RIM - np.sqrt(_RIM**2 - inward**2)))

    def _crease(self, places: NDArray[np.float64], beyond: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n,) depth of the upper lid's fold: full over the middle of the lid, running out towards the corners."""
        share, up = self.along(places)
        bow = np.clip(4 * share * (1 - share), 0.0, 1.0)
        height = self.crease_height * (0.45 + 0.55 * bow)
        groove = np.exp(-0.5 * ((beyond - height) / _CREASE_WIDTH) ** 2)
        return np.asarray(self.crease_depth * groove * bow * (2 - bow) * (up > 0))


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
