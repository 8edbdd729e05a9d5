"""Round holes from a hollow to the open: where they start, which way they go, where they come out."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..distances.rays import RayCaster
from ..errors import NotPossible
from ..mesh import Mesh
from ..solids.primitives import cylinder

Vector = NDArray[np.float64]
_STEP_OVER = 1e-3  # mm: less than any wall that prints


@dataclass(frozen=True, eq=False)
class Hole:
    """A hole: (3,) `inner` and `outer`, where its axis leaves the hollow and the part; `radius` in millimetres."""

    inner: Vector
    outer: Vector
    radius: float

    @property
    def length(self) -> float:
        """Of its axis through the wall, millimetres."""
        return float(np.linalg.norm(self.outer - self.inner))

    @property
    def way(self) -> Vector:
        """Unit vector along its axis, outwards."""
        return (self.outer - self.inner) / max(self.length, 1e-300)

    def tool(self, sag: float = 0.005) -> Mesh:
        """The bar that cuts it, reaching a diameter beyond either end."""
        beyond = 2 * self.radius * self.way
        return cylinder(self.inner - beyond, self.outer + beyond, self.radius, sag)


def hole_along(part: RayCaster, start: Vector, way: Vector, radius: float) -> Hole:
    """The hole from a point in a hollow straight out of the part.

    Parameters
    ----------
    part : the part's surface, hollow included
    start : (3,) a point in the hollow
    way : (3,) direction
    radius : of the hole, millimetres

    Raises
    ------
    NotPossible
        The way meets no wall, or does not come out of it.
    """
    unit = way / np.linalg.norm(way)
    into, out = crossings(part, start, unit, 2)
    if not np.isfinite(out):
        x, y, z = start
        raise NotPossible(f"no wall is met from ({x:.1f}, {y:.1f}, {z:.1f}) on the way out of the hollow")
    return Hole(start + into * unit, start + out * unit, radius)


def crossings(part: RayCaster, start: Vector, unit: Vector, count: int) -> list[float]:
    """How far along a ray it crosses the part's surface, the first `count` times; infinite once it does no more."""
    found: list[float] = []
    beyond = 0.0
    for _ in range(count):
        away, _ = part.first_hit((start + beyond * unit)[None], unit[None])
        found.append(beyond + float(away[0]))
        beyond = found[-1] + _STEP_OVER  # a ray through an edge meets both of its faces at once
        if not np.isfinite(beyond):
            return found + [np.inf] * (count - len(found))
    return found


def lowest_place(hollow: Mesh, up: Vector, radius: float, axis: Vector | None = None) -> Vector:
    """A point in the hollow over its lowest place, a hole's radius off its walls where there is room.

    Parameters
    ----------
    hollow : closed, as a solid of its own
    up : (3,) unit vector
    radius : of the hole
    axis : (3,) a point over which the hole is better, taken where the hollow there is hardly higher
    """
    heights = hollow.vertices @ up
    floor = heights.min()
    spread = float(np.ptp(heights))
    low = hollow.vertices[heights <= floor + min(1.5 * radius, 0.1 * spread)]
    middle = low.mean(axis=0)
    places = [middle] if axis is None else [axis, middle]
    caster = RayCaster(hollow)
    for place in places:
        below = place + (floor - spread - place @ up) * up
        away, _ = caster.first_hit(below[None], up[None])
        if np.isfinite(away[0]) and away[0] - spread <= 3 * radius:
            foot = below + away[0] * up
            return np.asarray(foot + min(radius, 0.25 * spread) * up)
    lowest = hollow.vertices[int(heights.argmin())]
    return np.asarray(lowest + 0.2 * (hollow.vertices.mean(axis=0) - lowest))


def leading_place(hollow: Mesh, way: Vector, radius: float) -> Vector:
    """A point in the hollow under the place that lies farthest along `way`."""
    along = hollow.vertices @ way
    tip = hollow.vertices[along >= along.max() - 0.25 * radius].mean(axis=0)
    return np.asarray(tip - min(radius, 0.25 * float(np.ptp(along))) * way)
