"""A head measured: breadths, heights and depths from its landmarks and its surface, held against the norms."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...geometry.mesh import Mesh
from .norms import NORMS, Norm

Marks = Mapping[str, NDArray[np.float64]]


@dataclass(frozen=True)
class Measure:
    """One dimension of this head, mm at life size, beside its norm. `side` is "left", "right" or ""."""

    norm: Norm
    side: str
    millimetres: float

    @property
    def ratio(self) -> float:
        """Against the mean adult."""
        return self.millimetres / self.norm.mean


@dataclass(frozen=True)
class Build:
    """What all measures say together: sizes against a mean adult's, 1 being alike.

    `size` is the middle of all; `ways` the middle of the breadths, heights and depths there are; `uneven` the largest
    of these over the smallest.
    """

    size: float
    ways: Mapping[str, float]
    uneven: float


def measured(marks: Marks, head: Mesh | None) -> list[Measure]:
    """Every dimension that can be taken.

    Parameters
    ----------
    marks : sure landmarks, name to (3,) position, mm at life size in the posed frame
    head : the closed head in the same frame, for head length and breadth; None leaves them out

    Returns
    -------
    list of Measure, in the order of the norms.
    """
    found: dict[tuple[str, str], float] = {}

    def distance(name: str, first: str, second: str, side: str = "") -> None:
        if first in marks and second in marks:
            found[name, side] = float(np.linalg.norm(marks[first] - marks[second]))

    def rise(name: str, upper: str, lower: str, side: str = "") -> None:
        if upper in marks and lower in marks:
            found[name, side] = float(marks[upper][2] - marks[lower][2])

    distance("sellion to gnathion", "sellion", "gnathion")
    distance("between inner canthi", "endocanthion-left", "endocanthion-right")
    distance("between outer canthi", "exocanthion-left", "exocanthion-right")
    distance("between pupils", "pupil-left", "pupil-right")
    distance("mouth breadth", "cheilion-left", "cheilion-right")
    for side in ("left", "right"):
        distance("fissure length", f"endocanthion-{side}", f"exocanthion-{side}", side)
        distance("fissure height", f"palpebrale-superius-{side}", f"palpebrale-inferius-{side}", side)
        rise("tragion to vertex", "vertex", f"tragion-{side}", side)
        rise("vertex to outer canthus", "vertex", f"exocanthion-{side}", side)
    if head is not None:
        found |= {(name, ""): value for name, value in _skull(marks, head).items()}
    order = list(NORMS)
    rows = sorted(found.items(), key=lambda row: (order.index(row[0][0]), row[0][1]))
    return [Measure(NORMS[name], side, value) for (name, side), value in rows]


def build_of(measures: list[Measure]) -> Build | None:
    """What the measures say together; None below three of them. Lid heights are left out: an eye may be half shut."""
    solid = [each for each in measures if each.norm.name != "fissure height"]
    if len(solid) < 3:
        return None
    size = float(np.median([each.ratio for each in solid]))
    ways = {}
    for way in ("breadth", "height", "depth"):
        ratios = [each.ratio for each in solid if each.norm.way == way]
        if ratios:
            ways[way] = float(np.median(ratios))
    return Build(size, ways, max(ways.values()) / min(ways.values()))


def _skull(marks: Marks, head: Mesh) -> dict[str, float]:
    """Head length from the glabella to the back, and breadth above the ears; hair counts."""
    found: dict[str, float] = {}
    x, y, z = head.vertices.T
    if "glabella" in marks:
        brow = marks["glabella"]
        back = head.vertices[(np.abs(x) < 15.0) & (z > -20.0) & (y > 0.0)]
        if len(back):
            found["head length"] = float(np.linalg.norm(back - brow, axis=1).max())
    above_ears = (z > 42.0) & (z < 110.0) & (y > -60.0) & (y < 90.0)
    if above_ears.any():
        found["head breadth"] = float(x[above_ears].max() - x[above_ears].min())
    return found
