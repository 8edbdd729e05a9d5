"""Points laid on a surface in pose and size: turned, moved and scaled evenly until they lie on it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

from ..distances.sampling import spread_over
from ..errors import BadCloud
from ..mesh import Mesh
from ..transforms import applied, transform

_KEPT = 0.85  # share of the pairs, the nearest, that a step listens to
_FACING = 0.3  # cosine between a point's way and the surface's from which they are a pair
_STILL = 1e-7  # a step that changes the numbers by no more is the last
_WORSE = 0.7  # another pose counts only where it leaves so much less than the one given

Vectors = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Laid:
    """The (4, 4) similarity that lays points on a surface, and the RMS left between its pairs, mm."""

    matrix: Vectors
    rms: float


def laid_in_size(points: Vectors, ways: Vectors, surface: Mesh, start: Vectors, rounds: int = 60) -> Laid:
    """Points laid on a surface from a start.

    Parameters
    ----------
    points, ways : (n, 3) points, and unit vectors that shall look as the surface's normals do
    surface : what they are laid on, millimetres
    start : (4, 4) similarity to begin with
    rounds : steps at most

    Raises
    ------
    BadCloud
        Too few points look the way the surface does.

    Notes
    -----
    Point to plane (Chen and Medioni 1992, doi 10.1016/0262-8856(92)90066-C) with an even scale as a seventh unknown;
    the farthest pairs of each step are left out.
    """
    return _laid(points, ways, _Planes(surface), start, rounds)


def laid_in_any_pose(points: Vectors, ways: Vectors, surface: Mesh) -> Laid:
    """Points laid on a surface wherever they come from: as they lie, brought to its middle and size, else turned.

    Parameters
    ----------
    points, ways, surface : as for `laid_in_size`

    Notes
    -----
    The cube's 24 turns are tried; one of them counts only where it fits far better than no turn at all, since caps of
    hair fit nearly as well back to front.
    """
    planes = _Planes(surface)
    few = slice(None, None, max(1, len(points) // 500))
    found = []
    turns = Rotation.create_group("O").as_matrix()
    order = np.argsort([-np.trace(turn) for turn in turns], kind="stable")  # no turn at all comes first
    for turn in turns[order]:
        size = np.linalg.norm(planes.points - planes.middle, axis=1).mean()
        own = points - points.mean(axis=0)
        factor = float(size / np.linalg.norm(own, axis=1).mean())
        start = transform(factor * turn, planes.middle - factor * turn @ points.mean(axis=0))
        try:
            found.append(_laid(points[few], ways[few], planes, start, 40))
        except BadCloud:
            continue  # turned this way it looks away from the surface
    if not found:
        raise BadCloud("its inner side lies on the head in no pose: give landmarks, or place it and start as placed")
    best = min(found[1:], key=lambda each: each.rms, default=found[0])
    chosen = best if best.rms < _WORSE * found[0].rms else found[0]
    return _laid(points, ways, planes, chosen.matrix, 60)


class _Planes:
    """A surface as points with normals, about 3 mm apart for a head."""

    def __init__(self, surface: Mesh) -> None:
        reach = float(np.linalg.norm(np.ptp(surface.vertices, axis=0)))
        spread = spread_over(surface, reach / 120)
        assert spread.normals is not None
        self.points, self.normals, self.middle = spread.points, spread.normals, spread.points.mean(axis=0)
        self.tree = cKDTree(self.points)


def _laid(points: Vectors, ways: Vectors, planes: _Planes, start: Vectors, rounds: int) -> Laid:
    matrix, rms = start.copy(), np.inf
    for _ in range(rounds):
        place = applied(matrix, points)
        size = float(np.cbrt(np.linalg.det(matrix[:3, :3])))
        apart, rows = planes.tree.query(place, workers=-1)
        normal = planes.normals[rows]
        met = np.flatnonzero(np.einsum("ij,ij->i", normal, ways @ matrix[:3, :3].T / size) > _FACING)
        if len(met) < 20:
            raise BadCloud("too few of the points look the way the surface does")
        near = met[np.argsort(apart[met], kind="stable")[: int(_KEPT * len(met))]]
        normal, place = normal[near], place[near]
        middle = place.mean(axis=0)
        own = place - middle
        reach = float(np.sqrt((own**2).sum(axis=1).mean()))
        levers = np.column_stack(
            [np.cross(own, normal) / reach, normal, np.einsum("ij,ij->i", own, normal)[:, None] / reach]
        )
        wanted = np.einsum("ij,ij->i", planes.points[rows[near]] - place, normal)
        rms = float(np.sqrt((wanted**2).mean()))
        motion = np.linalg.solve(levers.T @ levers + 1e-6 * len(near) * np.eye(7), levers.T @ wanted)
        grown = float(np.exp(np.clip(motion[6] / reach, -0.2, 0.2)))
        linear = grown * Rotation.from_rotvec(motion[:3] / reach).as_matrix()
        matrix = transform(linear, middle + motion[3:6] - linear @ middle) @ matrix
        if np.abs(motion).max() < _STILL * reach:
            break
    return Laid(matrix, rms)
