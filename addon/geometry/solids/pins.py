"""Parts that are keyed by pins in holes, set so unevenly that they go together one way only."""

from dataclasses import dataclass
from itertools import permutations

import numpy as np
from numpy.typing import NDArray

from ..errors import NotPossible
from ..mesh import Mesh
from ..progress import SILENT, Progress
from .booleans import difference, intersection, union
from .joints import Peg
from .primitives import frustum, revolved
from .seams import SEAM, Seam
from .sections import Outline, depths_in, sections

_UNEVEN = 0.3  # share of the even gap by which the first gap is narrower and the last wider
_LEVELS = 6
Vectors = NDArray[np.float64]


@dataclass(frozen=True)
class Pins:
    """Lengths in mm, angles in radians. `count` of pins, three at least; their `diameter` at the foot; `height` over
    the seam; `clearance` of their holes all round and at the end; `draft` slope of their sides; `lead` chamfer at the
    tip and at the hole's mouth; `wall` least material round a hole; `bearing` of the first from the seam's first
    direction.
    """

    count: int
    diameter: float
    height: float
    clearance: float
    draft: float
    lead: float
    wall: float
    bearing: float

    @property
    def peg(self) -> Peg:
        """One pin as a peg."""
        return Peg(self.diameter, self.height, self.draft, min(self.lead, 0.2 * self.diameter))


@dataclass(frozen=True, eq=False)
class Pinned:
    """The two parts, (k, 3) feet of the pins in the mesh's own frame, the least `wall` left round their holes and the
    pins' `height`, millimetres.
    """

    below: Mesh
    above: Mesh
    feet: Vectors
    wall: float
    height: float


def pinned(mesh: Mesh, seam: Seam, pins: Pins, progress: Progress = SILENT) -> Pinned:
    """Part a closed mesh, hollow or solid; the pins stand on the part below. Where the wall is too thin for them it is
    thickened inwards.

    Raises
    ------
    NotPossible
        The seam misses the mesh, or leaves no room for the pins.
    """
    progress(0.0, "looking for room for the pins")
    local = mesh.moved(np.linalg.inv(seam.frame.matrix))
    places, depths = _places(mesh, seam, pins)
    needs_room(places, depths, pins)
    radius = pins.diameter / 2 + pins.clearance + pins.wall
    feet = np.column_stack([places, seam.level(places)])
    reach = 2 * float(np.abs(local.vertices).max()) + 1.0
    local = union(local, *(_boss(foot, radius, pins) for foot in feet))
    progress(0.3, "cutting the part below")
    below = difference(local, seam.above(reach))
    progress(0.5, "cutting the part above")
    above = intersection(local, seam.above(reach, SEAM))
    if not len(below.triangles) or not len(above.triangles):
        raise NotPossible("the parting leaves nothing on one of its sides: move it")
    progress(0.8, "setting the pins")
    peg = pins.peg
    below = union(below, *(_stood(peg.solid(root_of(pins)), foot) for foot in feet))
    above = difference(above, *(_stood(hole, foot) for foot in feet for hole in holes_of(peg, pins)))
    matrix = seam.frame.matrix
    standing = feet @ matrix[:3, :3].T + matrix[:3, 3]
    wall = float(depths.min()) - pins.diameter / 2 - pins.clearance
    return Pinned(below.moved(matrix), above.moved(matrix), standing, wall, pins.height)


def root_of(pins: Pins) -> float:
    """How deep a pin is rooted in the part it stands on."""
    return 0.5 * pins.height


def holes_of(peg: Peg, pins: Pins) -> tuple[Mesh, Mesh]:
    """What is cut out for a pin, and the widened mouth, both in the pin's own frame. It goes on over the foot by a
    diameter, for where the ground rises beside it.
    """
    wide = peg.diameter / 2 + pins.clearance
    lead = min(pins.lead, pins.wall / 2)
    mouth = frustum((0, 0, 0.5), (0, 0, -wide - lead), wide + lead + 0.5, 0.0, 0.001)
    over = Peg(2 * wide, peg.length + pins.clearance, peg.taper).solid(max(peg.diameter, 0.5))
    return over, mouth


def _boss(foot: NDArray[np.float64], radius: float, pins: Pins) -> Mesh:
    """Material round a pin and its hole, up and down, where the wall is not thick enough; pointed at both ends, so that
    it grows out of the wall whichever way it is printed.
    """
    low, high = -root_of(pins) - pins.wall, pins.height + pins.clearance + pins.wall
    profile = [(0.0, low - radius), (radius, low), (radius, high), (0.0, high + radius)]
    return revolved(profile, foot, (0.0, 0.0, 1.0), 0.01)


def _stood(peg: Mesh, foot: NDArray[np.float64]) -> Mesh:
    """A peg, made hanging from z = 0, stood up on its foot."""
    matrix = np.diag([1.0, -1.0, -1.0, 1.0])
    matrix[:3, 3] = foot
    return peg.moved(matrix)


def bearings(pins: Pins) -> NDArray[np.float64]:
    """Where the pins are wanted, round the axis: the gaps grow from one to the next, so that none is like another."""
    shares = 1 + _UNEVEN * np.linspace(-1, 1, pins.count)
    gaps = 2 * np.pi * shares / pins.count
    return np.asarray(pins.bearing + np.concatenate([[0.0], np.cumsum(gaps[:-1])]))


def _places(mesh: Mesh, seam: Seam, pins: Pins) -> tuple[Vectors, NDArray[np.float64]]:
    """(k, 2) where the pins stand, and (k,) how deep their axes lie under the skin over the whole of their length."""
    under, over = root_of(pins) + pins.wall, pins.height + pins.clearance + pins.wall
    low, high = float(seam.levels.min()) - under, float(seam.levels.max()) + over
    step = (under + over) / _LEVELS
    heights = np.linspace(low, high, max(_LEVELS, int(np.ceil((high - low) / step)) + 1))
    found = list(sections(mesh, seam.frame, heights + 1e-6))
    places, depths = [], []
    for bearing in bearings(pins):
        asked = _asked(found, bearing, np.pi / (3 * pins.count))
        levels = seam.level(asked)
        deep = np.full(len(asked), np.inf)
        for height, outlines in zip(heights, found, strict=True):
            within = (height > levels - under - step) & (height < levels + over + step)
            skins = [outline for outline in outlines if outline.area > 0][:1]
            deep[within] = np.minimum(deep[within], depths_in(skins, asked[within]))
        best = best_place(asked, deep, pins)
        places.append(asked[best])
        depths.append(deep[best])
    return np.array(places), np.array(depths)


def _asked(found: list[tuple[Outline, ...]], bearing: float, either_side: float) -> Vectors:
    """(n, 2) places tried about a bearing."""
    every = [outline.points for outlines in found for outline in outlines]
    if not every:
        raise NotPossible("the parting misses the head: move it")
    widest = max(float(np.linalg.norm(points, axis=1).max()) for points in every)
    turns = bearing + np.linspace(-either_side, either_side, 9)
    radii = np.linspace(0.15, 1.0, 120) * widest
    return np.stack([np.outer(radii, np.cos(turns)), np.outer(radii, np.sin(turns))], axis=-1).reshape(-1, 2)


def best_place(asked: Vectors, deep: NDArray[np.float64], pins: Pins) -> int:
    """Which of (n, 2) places, each so deep in material, a pin stands at: as far out as it may, or where there is most
    room.
    """
    roomy = deep >= pins.diameter / 2 + pins.clearance + 1.05 * pins.wall
    return int(np.argmax(np.where(roomy, 1e3 + np.linalg.norm(asked, axis=1), deep)))


def needs_room(places: Vectors, depths: NDArray[np.float64], pins: Pins) -> None:
    """Refuse (k, 2) places not deep enough in material, or such that the pins go in any other way.

    Raises
    ------
    NotPossible
        There is no room for them, or they would go in more than one way.
    """
    room = 2 * (float(depths.min()) - pins.clearance - pins.wall)
    if pins.diameter > room + 1e-9:
        raise NotPossible(
            f"there is room for pins of {max(room, 0.0):.1f} mm only, not of {pins.diameter:g} mm: "
            "take thinner or fewer ones, or key it by its rim"
        )
    if other_ways(places, 2 * pins.clearance + 0.1 * pins.diameter):
        raise NotPossible("the pins would go in more than one way: ask for another number of them, or move the parting")


def other_ways(places: Vectors, slack: float) -> int:
    """In how many ways besides the right one (n, 2) pins go into holes at the same places, each within `slack` mm."""
    numbers = range(len(places))
    found = 0
    for first, second in permutations(numbers, 2):
        one, other = places[1] - places[0], places[second] - places[first]
        if (first, second) == (0, 1) or abs(np.linalg.norm(one) - np.linalg.norm(other)) > 2 * slack:
            continue
        turn = np.array([one @ other, one[0] * other[1] - one[1] * other[0]])
        cosine, sine = turn / np.linalg.norm(turn)
        laid = (places - places[0]) @ np.array([[cosine, sine], [-sine, cosine]]) + places[first]
        away = np.linalg.norm(laid[:, None] - places[None], axis=2).min(axis=1)
        found += bool((away <= 2 * slack).all())
    return found
