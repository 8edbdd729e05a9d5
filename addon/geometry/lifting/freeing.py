"""A part made free to be lifted off what it lies on: what it covers gives way, and it is trimmed where that may not."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..distances.closest import ClosestPoint
from ..distances.sampling import spread_over
from ..errors import NotPossible
from ..measures import components, piece_volumes, triangle_areas, triangle_normals, volume
from ..mesh import Mesh
from ..progress import SILENT, Progress
from ..solids.booleans import difference, intersection
from ..solids.seams import SEAM
from ..transforms import transform
from .coats import coat
from .covering import covered, near
from .relieving import Relief, relieved
from .undercuts import caught, freed

_MADE = 0.02  # mm off the part's own faces from which a face was made by trimming
_BELOW = -0.7  # cosine to the way
_GONE = 1.0
"""Millimetres of its outer side lost from which the solids are relieved anew, for what is left of the part only."""
_CRUMB = 0.01
"""Share of the largest piece's volume from which a piece of the part counts."""
Vectors = NDArray[np.float64]


@dataclass(frozen=True)
class Giving:
    """What gives way where a part reaches under what it lies on: a gap of `room` is left, millimetres; the solids are
    `relieved` where it covers them, down to a `wall`, for as much of the part as is its outermost wall of that
    thickness, or for all of it where it is not `trimmed`.
    """

    room: float
    wall: float
    trimmed: bool = True
    relieved: bool = True


@dataclass(frozen=True, eq=False)
class Free:
    """The part, free to come off; the `relief` of the solids; the share that was `trimmed` of the part; how far any
    place of its outer side is `lost`, millimetres; the area of trimmed faces `thin` as less than the wall, square
    millimetres, and the (3,) thinnest of them.
    """

    part: Mesh
    relief: Relief
    trimmed: float = 0.0
    lost: float = 0.0
    thin: float = 0.0
    thinnest: Vectors | None = None


def cut_free(part: Mesh, solids: Sequence[Mesh], way: Vectors) -> Mesh:
    """The part less what it shares with solids, and less a seam along the way, either way.

    Raises
    ------
    NotPossible
        Nothing of the part is left.
    """
    unit = way / np.linalg.norm(way)
    either_way = [transform(np.eye(3), out * unit) for out in (SEAM, -SEAM)]  # it may reach under them too
    free = whole(difference(part, *(each.moved(out) for each in solids for out in either_way)))
    if not len(free.triangles):
        raise NotPossible("nothing of the part lies outside of what it is put on")
    return free


def set_free(part: Mesh, solids: Sequence[Mesh], way: Vectors, giving: Giving, progress: Progress = SILENT) -> Free:
    """The part, and the solids, so that it comes off along the way.

    Parameters
    ----------
    part, solids : closed meshes that share nothing, the part lying on the solids
    way : (3,) direction in which it comes off
    giving : what gives way

    Raises
    ------
    NotPossible
        All of the part lies under the solids.
    """
    relief, core = Relief(tuple(solids)), part
    if giving.relieved:
        under = caught(part, solids, way, giving.room, progress.stretch(0.0, 0.3))
        core = _core(part, under, solids, way, giving) if len(under.triangles) else under
        if len(core.triangles):
            relief = relieved(solids, part, core, way, giving.room, giving.wall, progress.stretch(0.3, 0.6))
    if not giving.trimmed:
        return Free(part, relief)
    left = _left(part, relief, way, giving, progress.stretch(0.6, 0.75))
    if left is part:
        return Free(part, relief)
    outer = _outer(part, np.ones(len(part.triangles), bool), solids, way)
    lost = _lost(outer, left)
    if relief.taken and lost > _GONE:
        # A lock went whole: what was taken out for it would lie bare.
        held = intersection(core, left)
        relief = relieved(solids, left, held, way, giving.room, giving.wall, progress.stretch(0.75, 0.9))
        left = _left(left, relief, way, giving, progress.stretch(0.9, 1.0))
        lost = _lost(outer, left)
    thin, place = _thin(part, left, outer, giving.wall)
    return Free(left, relief, 1.0 - volume(left) / volume(part), lost, thin, place)


def _left(part: Mesh, relief: Relief, way: Vectors, giving: Giving, progress: Progress) -> Mesh:
    """What comes off of the part; itself where all of it does."""
    left = whole(freed(part, relief.solids, way, giving.room, progress))
    if not len(left.triangles):
        raise NotPossible("all of the part lies under what it is put on: give another way off")
    return left


def _lost(outer: Mesh, left: Mesh) -> float:
    """How far any place of the outer side is from what is left, millimetres."""
    return float(ClosestPoint(left).query(outer.corners.mean(axis=1))[0].max(initial=0.0))


def whole(mesh: Mesh) -> Mesh:
    """The mesh without the crumbs a cut left: pieces with less than a hundredth of the largest one's volume."""
    labels = components(mesh)
    if not labels.any():
        return mesh
    volumes = piece_volumes(mesh, labels)
    return mesh.kept((np.abs(volumes) >= _CRUMB * volumes.max())[labels])


def _core(part: Mesh, under: Mesh, solids: Sequence[Mesh], way: Vectors, giving: Giving) -> Mesh:
    """What of that may not be trimmed: the part is no thicker there than the wall, or nothing may be trimmed."""
    if not giving.trimmed:
        return under
    outer = _outer(part, near(part, spread_over(under, giving.wall / 2).points, 2 * giving.wall), solids, way)
    return intersection(under, coat(outer, giving.wall)) if len(outer.triangles) else outer


def _outer(part: Mesh, about: NDArray[np.bool_], solids: Sequence[Mesh], way: Vectors) -> Mesh:
    """Of some faces of the part those that neither lie on the solids nor look back along the way, as a lower edge."""
    inside = np.zeros(len(part.triangles), bool)
    for each in solids:
        inside |= covered(part, each, about)
    below = triangle_normals(part) @ (way / np.linalg.norm(way)) < _BELOW
    return part.kept(about & ~inside & ~below)


def _thin(part: Mesh, left: Mesh, outer: Mesh, wall: float) -> tuple[float, Vectors | None]:
    """The area of trimmed faces that lie less than the wall under the outer side, and the place of the thinnest."""
    if not len(outer.triangles):
        return 0.0, None
    middles = left.corners.mean(axis=1)
    made = np.flatnonzero(ClosestPoint(part).query(middles, _MADE)[0] > _MADE)
    if not len(made):
        return 0.0, None
    far = ClosestPoint(outer).query(middles[made])[0]
    least = int(np.argmin(far))
    return float(triangle_areas(left)[made[far < wall]].sum()), middles[made[least]]
