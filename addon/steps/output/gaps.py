"""How parts lie to each other: overlaps, and the gap all round an eye in its socket."""

from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from ...geometry.booleans import intersection
from ...geometry.distance import ClosestPoint
from ...geometry.measures import is_watertight, volume
from ...geometry.mesh import Mesh
from ..workpiece import Check, Eye
from .findings import at

TOUCH = 0.02
"""Cubic millimetres two parts may share where they lie face to face: rounding of their faces, no overlap."""


def overlap_findings(parts: dict[str, Mesh]) -> list[Check]:
    """The volume each two parts have in common, as they are assembled."""
    found = []
    for one, other in combinations(sorted(parts), 2):
        first, second = parts[one], parts[other]
        if not (is_watertight(first) and is_watertight(second)) or not _boxes_meet(first, second):
            continue
        common = intersection(first, second)
        shared = volume(common)
        where = at(common.vertices.mean(axis=0)) if shared > TOUCH else ""
        advice = "they will not go together: give them more clearance"
        found.append(Check(f"{one} and {other}: overlap", shared, TOUCH, "mm³", shared <= TOUCH, where, True, advice))
    return found


def _boxes_meet(one: Mesh, other: Mesh) -> bool:
    return bool(
        (one.vertices.min(axis=0) <= other.vertices.max(axis=0)).all()
        and (other.vertices.min(axis=0) <= one.vertices.max(axis=0)).all()
    )


def clearance_findings(parts: dict[str, Mesh], eyes: tuple[Eye, ...]) -> list[Check]:
    """The least gap between each eye and the head, against the clearance it was given."""
    found = []
    for eye in eyes:
        name = f"eye-{eye.side}"
        if name not in parts or "head" not in parts:
            continue
        gap, where = least_gap(parts[name], parts["head"])
        wanted = 0.9 * eye.clearance
        advice = "the eye will bind: carve the sockets with more clearance"
        found.append(Check(f"{name}: gap to the socket", gap, wanted, "mm", gap >= wanted, at(where), False, advice))
    return found


def least_gap(one: Mesh, other: Mesh) -> tuple[float, NDArray[np.float64]]:
    """Least distance between two parts that do not overlap, vertices of either to faces of the other, and its place."""
    low, high = one.vertices.min(axis=0), one.vertices.max(axis=0)
    reach = float((high - low).max()) / 2
    near = ((other.vertices > low - reach) & (other.vertices < high + reach)).all(axis=1)
    best: tuple[float, NDArray[np.float64]] = (np.inf, low)
    for points, mesh in ((one.vertices, other), (other.vertices[near], one)):
        if len(points):
            distance, _, place = ClosestPoint(mesh).query(points, far=reach)
            row = int(np.argmin(distance))
            best = min(best, (float(distance[row]), place[row]), key=lambda pair: pair[0])
    return best
