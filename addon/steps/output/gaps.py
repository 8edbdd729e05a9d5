"""How parts lie to each other: overlaps, and the gap all round an eye in its socket."""

from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from ...geometry.distances.closest import ClosestPoint
from ...geometry.measures import is_watertight
from ...geometry.mesh import Mesh
from ...geometry.solids.booleans import shared_by_pairs
from ..workpiece import GAP, Check, Eye
from .findings import at

TOUCH = 0.02
"""Cubic millimetres two parts may share where they lie face to face: rounding of their faces, no overlap."""


def overlap_findings(parts: dict[str, Mesh]) -> list[Check]:
    """The volume each two parts have in common, as they are assembled."""
    names = [name for name in sorted(parts) if is_watertight(parts[name])]
    meshes = [parts[name] for name in names]
    pairs = [pair for pair in combinations(range(len(names)), 2) if _boxes_meet(*(meshes[each] for each in pair))]
    found = []
    for (one, other), (shared, place) in zip(pairs, shared_by_pairs(meshes, pairs), strict=True):
        where = at(place) if shared > TOUCH else ""
        what, advice = f"{names[one]} and {names[other]}: overlap", "they will not go together: give more clearance"
        found.append(Check(what, shared, TOUCH, "mm³", shared <= TOUCH, where, True, advice))
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
        wanted = 0.9 * min(eye.clearance, eye.clearance if eye.seat_gap is None else eye.seat_gap)
        advice = "the eye will bind: carve the sockets with more clearance"
        found.append(Check(f"{name}: {GAP}", gap, wanted, "mm", gap >= wanted, at(where), False, advice))
    return found


def least_gap(one: Mesh, other: Mesh) -> tuple[float, NDArray[np.float64]]:
    """Least distance between two parts that do not overlap, vertices of either to faces of the other, and its place.

    Only what lies within half the first part's size of it is looked at; infinite where nothing does.
    """
    low, high = one.vertices.min(axis=0), one.vertices.max(axis=0)
    reach = float((high - low).max()) / 2
    beyond = np.concatenate([other.vertices < low - reach, other.vertices > high + reach], axis=1)
    a, b, c = (beyond.take(other.triangles[:, k], axis=0) for k in range(3))
    near = other.kept(~(a & b & c).any(axis=1))
    best: tuple[float, NDArray[np.float64]] = (np.inf, low)
    if not len(near.triangles):
        return best
    at_most = float(cKDTree(one.vertices).query(near.vertices)[0].min())  # what is farther need not be measured
    for points, mesh in ((one.vertices, near), (near.vertices, one)):
        distance, _, place = ClosestPoint(mesh).query(points, far=at_most)
        row = int(np.argmin(distance))
        best = min(best, (float(distance[row]), place[row]), key=lambda pair: pair[0])
    return best
