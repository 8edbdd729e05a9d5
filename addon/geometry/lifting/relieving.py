"""Solids relieved under a part that covers them, so that it comes off whole."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from ..distances.closest import ClosestPoint
from ..distances.sampling import spread_over
from ..measures import components, piece_volumes, volume
from ..mesh import Mesh
from ..progress import SILENT, Progress
from ..solids.booleans import difference, intersection
from ..solids.trimming import largest_piece
from .coats import coat
from .covering import covered, near
from .passages import passage

LEDGE = 0.1
"""Millimetres of hidden skin left beside what is seen: it keeps its edge."""
_CRUMB = 0.05
"""Cubic millimetres under which a piece of what would be taken out is left: under 0.4 mm across."""
_ISLAND = 0.2
"""Cubic millimetres from which a piece cut off is missed: smaller ones are left out."""
_ROOT = 2.5
"""Walls about such a piece in which nothing is taken out, so that it hangs on again: more than a lock is thick."""
Vectors = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Relief:
    """The solids, relieved: how much was taken out, in cubic millimetres; how deep it goes at most under the skin there
    was, millimetres; and the least wall left under it, with its (3,) place, None where none is near.
    """

    solids: tuple[Mesh, ...]
    taken: float = 0.0
    deepest: float = 0.0
    wall: float = np.inf
    thinnest: Vectors | None = None


def relieved(
    solids: Sequence[Mesh],
    part: Mesh,
    core: Mesh,
    way: Vectors,
    room: float,
    wall: float,
    progress: Progress = SILENT,
) -> Relief:
    """The solids less what of them is in the way of a part, where the part hides it and they stay thick enough.

    Parameters
    ----------
    solids : closed meshes
    part : closed, lies on them
    core : closed, the share of the part that is to come off whole
    way : (3,) direction in which it comes off
    room : gap beside it on its way, millimetres
    wall : least of the solids left under what is taken out, to hollows and to whatever is seen of them, millimetres

    Notes
    -----
    What is taken out is what the core passes through on its way, less a coat of that thickness on all faces that the
    part does not cover. Where such a face ends at a covered one the coat is a ledge only, for the wall there is the
    solid itself.
    """
    wanted = passage(core, solids, way, room, wall, progress.stretch(0.0, 0.5))
    if not len(wanted.triangles):
        return Relief(tuple(solids))
    done = [_one(each, part, wanted, wall, [other for other in solids if other is not each]) for each in solids]
    walls = [each.wall for each in done]
    least = int(np.argmin(walls))
    progress(1.0, "relieved")
    return Relief(
        tuple(each.solids[0] for each in done),
        sum(each.taken for each in done),
        max(each.deepest for each in done),
        walls[least],
        done[least].thinnest,
    )


def _one(solid: Mesh, part: Mesh, wanted: Mesh, wall: float, beside: Sequence[Mesh]) -> Relief:
    body = intersection(wanted, solid)
    if not len(body.triangles):
        return Relief((solid,))
    dots = spread_over(body, wall / 2).points
    about, tight = near(solid, dots, 2 * wall), near(solid, dots, 1.5 * wall)
    hidden = covered(solid, part, about, beside)
    seen, inner = solid.kept(about & ~hidden), solid.kept(tight & _inner(solid, about, hidden, wall))
    ledge = solid.kept(tight & ~hidden & _by(solid, about, hidden, 1.5 * wall))
    kept = [each for each in (coat(inner, wall), coat(ledge, LEDGE)) if len(each.triangles)]
    cut = _sizable(difference(wanted, *kept) if kept else wanted)
    left = _less(solid, cut)
    if severed := _severed(left):  # an ear cut off at its root, between faces that are all hidden
        cut = _sizable(difference(cut, *(coat(each, _ROOT * wall) for each in severed)))
        left = _less(solid, cut)
    left = largest_piece(left)
    if not len(cut.triangles):
        return Relief((solid,))
    made = _made(solid, left)
    depths = ClosestPoint(solid).query(made)[0]
    taken, deepest = volume(solid) - volume(left), float(depths.max(initial=0.0))
    deep = made[depths > 2 * LEDGE]
    if not len(seen.triangles) or not len(deep):
        return Relief((left,), taken, deepest)
    walls = ClosestPoint(inner if len(inner.triangles) else seen).query(deep)[0]
    least = int(np.argmin(walls))
    return Relief((left,), taken, deepest, float(walls[least]), deep[least])


def _less(solid: Mesh, cut: Mesh) -> Mesh:
    return difference(solid, cut) if len(cut.triangles) else solid


def _severed(left: Mesh) -> list[Mesh]:
    """Pieces that hang on nothing any more, and are more than crumbs."""
    labels = components(left)
    volumes = piece_volumes(left, labels)
    return [left.kept(labels == each) for each in np.flatnonzero((volumes > _ISLAND) & (volumes < volumes.max()))]


def _by(solid: Mesh, about: NDArray[np.bool_], hidden: NDArray[np.bool_], far: float) -> NDArray[np.bool_]:
    """(m,) which faces lie beside the line between what is hidden and what is seen, no farther than that."""
    found = np.zeros(len(solid.triangles), bool)
    rim = np.intersect1d(solid.triangles[hidden], solid.triangles[about & ~hidden])
    if len(rim):
        rows = np.flatnonzero(about)
        away, _ = cKDTree(solid.vertices[rim]).query(solid.corners[rows].mean(axis=1), distance_upper_bound=far)
        found[rows] = np.isfinite(away)
    return found


def _inner(solid: Mesh, about: NDArray[np.bool_], hidden: NDArray[np.bool_], wall: float) -> NDArray[np.bool_]:
    """(m,) the faces that are seen, or lie in a hollow, less a ring as wide as the wall beside what is hidden."""
    return np.asarray(about & ~hidden & ~_by(solid, about, hidden, wall))


def _sizable(cut: Mesh) -> Mesh:
    """Its pieces that are more than crumbs."""
    labels = components(cut)
    return cut.kept((piece_volumes(cut, labels) > _CRUMB)[labels])


def _made(solid: Mesh, left: Mesh) -> Vectors:
    """(n, 3) corners of what is left that the solid did not have."""
    old, _ = cKDTree(solid.vertices).query(left.vertices, distance_upper_bound=1e-4)
    return np.asarray(left.vertices[~np.isfinite(old)])
