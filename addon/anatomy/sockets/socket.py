"""The tools that carve a socket: pocket, room for the cornea and bore; and what is left of lids and walls.

Lengths are in the unit of the mesh that is carved; `scale` says how large a life-size millimetre is in it.
"""

from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from ...geometry.angles import arc_tangent
from ...geometry.clouds.normals import vertex_normals
from ...geometry.distances.rays import RayCaster
from ...geometry.mesh import Mesh
from ...geometry.solids.primitives import cylinder, revolved, sphere
from ..eyes.eye import EyeShape
from ..lids.lid_margin import SPOKES, Opening
from .eye_path import Bore, eye_bore, least_bore, stepped
from .eye_seat import FINENESS, Seat, closed_pocket

_BEFORE_LID, _PAST_BRINK = 1.0, 3  # mm at life size, tenths: within the rim, a lid may begin so much later
_LID_REACH = 20.0  # mm at life size: no lid is thicker
_LID_BAND = 6.0  # mm at life size, beyond the rim: what counts as lid when thickness is told
_OVER_CREASE = 4.0  # mm at life size, so much more of the upper lid: its crease lies 9 above the margin at most
_BACK = -0.5  # cosine to the gaze from which a surface faces back
_THIN = 6.0  # mm at life size: thicker walls are not told apart


@dataclass(frozen=True, eq=False)
class Pocket:
    """One eye's place and how the eye sits in it.

    Parameters
    ----------
    centre, gaze : (3,) of the globe; gaze of unit length
    shape, half : the eye that goes in, and whether it is half-round with a flat back
    clearance : all round it
    gap : between the eye and the seat it rests on; None where it has no seat
    length : of the bore the eye travels in by from behind; 0 for a pocket that is closed behind
    """

    centre: NDArray[np.float64]
    gaze: NDArray[np.float64]
    shape: EyeShape
    clearance: float
    half: bool = False
    gap: float | None = None
    length: float = 0.0

    @property
    def radius(self) -> float:
        """Of the sphere that is cut."""
        return self.shape.sclera + self.clearance

    @property
    def seat(self) -> Seat | None:
        """What the eye rests on; None where there is nothing."""
        return None if self.gap is None else Seat(self.shape, self.half, self.clearance, self.gap)

    @property
    def widest(self) -> float:
        """Radius of the widest part of pocket and bore."""
        return self.radius if self.seat is None or not self.length else self.seat.bore

    @property
    def shortest(self) -> float:
        """The shortest bore that leaves room for stem and ring."""
        return least_bore(self.shape, self.clearance, self.seat)

    def from_behind(self, length: float) -> "Pocket":
        """The same with a bore of that length."""
        return replace(self, length=length)

    def bores(self) -> tuple[Bore, ...]:
        """The ways behind it, from the front backwards; none where it is closed."""
        if not self.length:
            return ()
        bore = eye_bore(self.centre, self.gaze, self.radius, self.length)
        return (bore,) if self.seat is None else stepped(bore, self.seat)

    def cover(self, head: Mesh, opening: Opening, angles: NDArray[np.float64], scale: float) -> NDArray[np.float64]:
        """(SPOKES, m) thickness of what lies over the pocket, square on it, at angles from ahead; inf where nothing."""
        near = np.linalg.norm(head.vertices - self.centre, axis=1) < self.radius + _LID_REACH * scale
        directions = opening.spoke_directions(angles)
        ways = directions.reshape(-1, 3)
        caster = RayCaster(head.kept(near[head.triangles].any(axis=1)))
        skin = caster.first_hit(np.broadcast_to(self.centre, ways.shape), ways)[0].reshape(directions.shape[:2])
        return np.asarray(skin - self.shape.reach(directions @ self.gaze, self.clearance))


def pocket_tools(pocket: Pocket) -> list[Mesh]:
    """The pocket, the room for the corneal bulge under the lids, and the bores behind."""
    relief = pocket.shape.cornea + pocket.clearance
    ahead = pocket.centre + pocket.gaze * pocket.shape.cornea_ahead
    return [_hollow_for(pocket), sphere(relief, ahead, FINENESS * relief), *bore_tools(pocket)]


def bore_tools(pocket: Pocket) -> list[Mesh]:
    """The ways behind a pocket as solids."""
    return [cylinder(bore.start, bore.end, bore.radius, FINENESS * bore.radius) for bore in pocket.bores()]


def _hollow_for(pocket: Pocket) -> Mesh:
    """The sphere of the pocket; closed behind, it has the eye's flat back and the ledge of its seat."""
    if pocket.length or (not pocket.half and pocket.gap is None):
        return sphere(pocket.radius, pocket.centre, FINENESS * pocket.radius)
    outline = closed_pocket(pocket.shape, pocket.half, pocket.clearance, pocket.gap)
    return revolved(outline, pocket.centre, pocket.gaze, FINENESS / 2 * pocket.radius)


def lid_cover(
    head: Mesh, pocket: Pocket, opening: Opening, scale: float
) -> tuple[NDArray[np.float64], float, NDArray[np.float64]]:
    """(SPOKES,) thickness of the lids where they begin, the least of them as far as lids reach, and its (3,) place.

    Parameters
    ----------
    head : before carving
    pocket, opening : of one eye
    scale : life-size millimetre in the mesh's unit

    Notes
    -----
    Along rays square on the pocket, as the pocket's own faces see it. In the corners the rim runs a little within the
    lid's edge, over what the pocket lays open anyway: a lid begins where there is anything of it.
    """
    band = _lid_band(2 * np.pi * np.arange(SPOKES) / SPOKES) * scale / pocket.radius
    steps = np.arange(0.0, _LID_BAND + _OVER_CREASE, 0.1) * scale / pocket.radius
    angles = opening.angles[:, None] + steps
    cover = pocket.cover(head, opening, angles, scale)
    before = np.cumsum(cover > 0, axis=1) == 0
    before[:, steps > _BEFORE_LID * scale / pocket.radius] = False
    # The first step past the edge may still graze its rounded brink.
    begins = np.minimum(before.sum(axis=1) + _PAST_BRINK, len(steps) - 1)
    at_rim = cover[np.arange(len(cover)), begins]
    cover[(np.arange(len(steps)) < begins[:, None]) | (steps >= band[:, None])] = np.inf
    least = np.unravel_index(int(np.argmin(cover)), cover.shape)
    way = opening.spoke_directions(angles)[least]
    away = float(pocket.shape.reach(np.array([way @ pocket.gaze]), pocket.clearance)[0] + cover[least])
    return at_rim, float(cover[least]), np.asarray(pocket.centre + away * way)


def _lid_band(around: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n,) how far beyond the rim lids reach at turns about the opening, from across over up; mm at life size."""
    return np.asarray(_LID_BAND + _OVER_CREASE * np.maximum(np.sin(around), 0.0))


def least_wall(head: Mesh, pocket: Pocket, opening: Opening, scale: float) -> tuple[float, NDArray[np.float64]]:
    """Least thickness between pocket or bore and the skin, lids aside, and the (3,) place of it.

    Parameters
    ----------
    head : before carving
    pocket, opening : of one eye
    scale : life-size millimetre in the mesh's unit

    Notes
    -----
    A head that is open or thin behind, as from one range map, is no wall there to an eye that is set from behind: what
    faces back behind the globe's middle is where its bore comes out.
    """
    away = head.vertices - pocket.centre
    near = (away**2).sum(axis=1) < (30 * scale + 2 * pocket.widest + pocket.length) ** 2
    away, places = away[near], head.vertices[near]
    across, up, ahead = (away @ opening.frame.T).T
    around = arc_tangent(up, across) % (2 * np.pi)
    angles = arc_tangent(np.hypot(across, up), ahead)
    rim = np.interp(around, 2 * np.pi * np.arange(SPOKES) / SPOKES, opening.angles, period=2 * np.pi)
    lids = angles < rim + _lid_band(around) * scale / pocket.radius
    cover = np.linalg.norm(away, axis=1) - pocket.radius
    for bore in pocket.bores():
        cover = np.minimum(cover, _outside(bore, places))
    cover[lids] = np.inf
    behind = (away @ pocket.gaze < 0) & (cover < _THIN * scale)
    if pocket.length and behind.any():
        cover[behind & (vertex_normals(head)[near] @ pocket.gaze < _BACK)] = np.inf
    thinnest = int(np.argmin(cover))
    return float(cover[thinnest]), places[thinnest]


def _outside(bore: Bore, places: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n,) distance of (n, 3) places from a bore; within it they count by how far they lie from its wall, below 0."""
    way = bore.end - bore.start
    length = float(np.linalg.norm(way))
    away = places - bore.start
    along = away @ way / length
    beside = np.sqrt(np.maximum((away**2).sum(axis=1) - along**2, 0.0)) - bore.radius
    past = np.maximum(-along, along - length)
    return np.where((beside > 0) | (past > 0), np.hypot(np.maximum(beside, 0), np.maximum(past, 0)), beside)


def between(one: Pocket, other: Pocket) -> float:
    """Least thickness of the wall between two sockets and their bores."""
    least = float(np.linalg.norm(one.centre - other.centre)) - one.radius - other.radius
    steps = np.linspace(0.0, 1.0, 65)[:, None]
    ways = [
        [(bore.start + steps * (bore.end - bore.start), bore.radius) for bore in pocket.bores()]
        for pocket in (one, other)
    ]
    for (points, radius), (others, its_radius) in product(*ways):
        apart = np.linalg.norm(points[:, None] - others, axis=2).min()
        least = min(least, float(apart) - radius - its_radius)
    return least
