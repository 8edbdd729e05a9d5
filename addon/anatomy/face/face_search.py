"""Where on a surface in any pose the face is: a mean face laid over every place that sticks out like a nose."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from ...geometry.cloud import Cloud
from ...geometry.progress import SILENT, Progress
from ...geometry.transforms import rotation, transform
from .mean_face import face_points

_TIP_REACH = 26.0
"""What lies this near is what a nose sticks out from, mm."""

_ROLLS = 12


@dataclass(frozen=True)
class Face:
    """A face that was found.

    `matrix` (4, 4) takes the surface to the posed frame of a mean adult, `size` is how much larger than that adult's
    the face is, and `likeness` the share of the mean face that the surface follows, 0 to 1. `rival` is the likeness
    of the best other place, far from this one. `whole` is false where only brow, orbits and nose root were looked for.
    """

    matrix: NDArray[np.float64]
    size: float
    likeness: float
    rival: float
    whole: bool = True


@dataclass(frozen=True)
class Sought:
    """What of the face is looked for: all points above `lowest`, from starts that put `tip` where something sticks out.

    `pitches` are the nods tried, radians between the tip's axis and the mean normal round it.
    """

    lowest: float
    tip: tuple[float, float, float]
    tips: int
    pitches: tuple[float, ...]

    def points(self, spacing: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Points and normals of that part of the mean face."""
        points, normals = face_points(spacing)
        kept = points[:, 2] > self.lowest
        return points[kept], normals[kept]


WHOLE = Sought(-200.0, (0.0, -121.0, -20.0), 36, (0.0, -0.5))
"""The face, found by the tip of its nose."""

UPPER = Sought(-12.0, (0.0, -109.0, 0.0), 60, (0.0, -0.5, 0.5, -0.9, 0.9))
"""Brow, orbits and root of the nose, for a head cut off or unseen below: found by the bridge of the nose."""


def find_face(surface: Cloud, sought: Sought = WHOLE, progress: Progress = SILENT) -> Face:
    """The place where the mean face lies best.

    Parameters
    ----------
    surface : Cloud with normals pointing outwards, mm, points some 3 to 5 mm apart
    sought : the part of the face looked for
    progress : told how far it is

    Returns
    -------
    Face; always the best there is, however poor: look at `likeness`.
    """
    tree = cKDTree(surface.points)
    progress(0.0, "looking for the face")
    tip = np.array(sought.tip)
    laid = _starts(*_tips(surface, tree, sought.tips), tip, sought.pitches)
    coarse = sought.points(11.0)
    for row, reach in enumerate((24.0, 16.0, 12.0)):
        progress(0.2 + 0.2 * row, "laying a mean face wherever something sticks out")
        laid = _slid(laid, coarse, surface, tree, reach)
    laid = laid.kept(np.argsort(-_likeness(laid, coarse, surface, tree))[:40])
    fine = sought.points(6.0)
    for row, reach in enumerate((10.0, 8.0, 7.0, *[6.0] * 5)):
        progress(0.7 + 0.3 * row / 8, "laying it over the best places")
        laid = _slid(laid, fine, surface, tree, reach)
    likeness = _likeness(laid, fine, surface, tree)
    best = int(np.argmax(likeness))
    noses = laid.places(tip[None])[:, 0]
    away = np.linalg.norm(noses - noses[best], axis=1) > 25.0
    back = np.linalg.inv(transform(laid.turns[best], laid.shifts[best]))
    rival = float(likeness[away].max(initial=0.0))
    return Face(back, float(laid.sizes[best]), float(likeness[best]), rival, sought is WHOLE)


@dataclass(frozen=True, eq=False)
class _Laid:
    """Mean faces laid over a surface: (n, 3, 3) turns, (n, 3) shifts, (n,) sizes."""

    turns: NDArray[np.float64]
    shifts: NDArray[np.float64]
    sizes: NDArray[np.float64]

    def places(self, shape: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n, k, 3) places of the k points of the mean face."""
        return np.asarray(self.sizes[:, None, None] * (shape @ self.turns.transpose(0, 2, 1)) + self.shifts[:, None])

    def kept(self, rows: NDArray[np.int64]) -> "_Laid":
        """The chosen ones."""
        return _Laid(self.turns[rows], self.shifts[rows], self.sizes[rows])


def _tips(surface: Cloud, tree: cKDTree, count: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Places that stand out most from what lies round them, and the way they point."""
    points, normals = surface.points, surface.normals
    assert normals is not None
    places = points[:: max(1, len(points) // 6000)]
    around = tree.query_ball_point(places, _TIP_REACH)
    counts = np.array([len(rows) for rows in around])
    every = np.concatenate([np.asarray(rows, dtype=np.int64) for rows in around])
    starts = np.cumsum(counts) - counts
    axes = np.add.reduceat(normals[every], starts)
    axes /= np.maximum(np.linalg.norm(axes, axis=1, keepdims=True), 1e-9)
    middles = np.add.reduceat(points[every], starts) / counts[:, None]
    tips = np.einsum("nd,nd->n", axes, places - middles)
    chosen: list[int] = []
    for row in np.argsort(-tips):
        if all(np.linalg.norm(places[row] - places[other]) > 12.0 for other in chosen):
            chosen.append(int(row))
        if len(chosen) == count:
            break
    return places[chosen], axes[chosen]


def _starts(
    tips: NDArray[np.float64], axes: NDArray[np.float64], anchor: NDArray[np.float64], pitches: tuple[float, ...]
) -> _Laid:
    """Poses that put the mean face's `anchor` on each tip, at every roll about its axis."""
    turns = []
    for axis in axes:
        back = -axis
        side = np.cross(back, np.eye(3)[np.argmin(np.abs(back))])
        side /= np.linalg.norm(side)
        upright = np.column_stack([side, back, np.cross(side, back)])
        for roll in np.arange(_ROLLS) * (2 * np.pi / _ROLLS):
            turns += [upright @ rotation([0, 1, 0], roll) @ rotation([1, 0, 0], pitch) for pitch in pitches]
    every = np.array(turns)
    shifts = np.repeat(tips, _ROLLS * len(pitches), axis=0) - every @ anchor
    return _Laid(every, shifts, np.ones(len(every)))


def _met(
    laid: _Laid, face: tuple[NDArray[np.float64], NDArray[np.float64]], surface: Cloud, tree: cKDTree
) -> tuple[NDArray[np.float64], ...]:
    """Of each point of each laid face: place, surface normal nearest it, gap along that, agreement, distance.

    The agreement is the cosine between the normals; where nothing is within 25 mm the gap counts as 25.
    """
    assert surface.normals is not None
    shape, directions = face
    places = laid.places(shape)
    distances, rows = tree.query(places, distance_upper_bound=25.0, workers=-1)
    found = np.isfinite(distances)
    rows = np.where(found, rows, 0)
    normals = surface.normals[rows]
    gaps = np.where(found, np.einsum("nkd,nkd->nk", normals, surface.points[rows] - places), 25.0)
    agree = np.where(found, np.einsum("nkd,nkd->nk", directions @ laid.turns.transpose(0, 2, 1), normals), -1.0)
    return places, normals, gaps, agree, distances


def _likeness(
    laid: _Laid, face: tuple[NDArray[np.float64], NDArray[np.float64]], surface: Cloud, tree: cKDTree
) -> NDArray[np.float64]:
    """(n,) share of each laid face that the surface follows."""
    _, _, gaps, agree, distances = _met(laid, face, surface, tree)
    sizes = laid.sizes[:, None]
    close = np.exp(-0.5 * (gaps / (3.5 * sizes)) ** 2) * agree.clip(0, 1) ** 2 * (distances < 9.0 * sizes)
    return np.asarray(close @ _telling(face[0]), dtype=np.float64)


def _telling(shape: NDArray[np.float64]) -> NDArray[np.float64]:
    """What each point counts: eyes, nose and mouth more than the smooth forehead and cheeks that any ball has."""
    x, _, z = shape.T
    weights = np.where((np.abs(x) < 46) & (z > -64) & (z < 40), 1.0, 0.3)
    return np.asarray(weights / weights.sum(), dtype=np.float64)


def _slid(
    laid: _Laid, face: tuple[NDArray[np.float64], NDArray[np.float64]], surface: Cloud, tree: cKDTree, reach: float
) -> _Laid:
    """Each face after one step towards the surface: point to plane, gaps over some `reach` mm counting little."""
    places, normals, gaps, agree, _ = _met(laid, face, surface, tree)
    weights = np.where(agree > 0.3, agree / (1 + (gaps / (0.4 * reach)) ** 2), 0.0)
    arms = places - laid.shifts[:, None]
    stretch = np.einsum("nkd,nkd->nk", arms, normals)[:, :, None]
    slopes = np.concatenate([np.cross(arms, normals), normals, stretch], axis=2)
    weighted = slopes * weights[:, :, None]
    squares = np.einsum("nki,nkj->nij", weighted, slopes)
    squares[:, range(7), range(7)] += 1e-6
    # Held towards no change of size, so that a flat patch cannot swell the face.
    squares[:, 6, 6] += 0.05 * weights.sum(axis=1) * 60.0**2
    change = np.linalg.solve(squares, np.einsum("nki,nk->ni", weighted, gaps)[:, :, None])[:, :, 0]
    change[(weights > 0).sum(axis=1) < 20] = 0.0
    angles = np.linalg.norm(change[:, :3], axis=1)
    turns = [rotation(axis, min(angle, 0.4)) for axis, angle in zip(change[:, :3] + [1e-12, 0, 0], angles, strict=True)]
    sizes = (laid.sizes * (1 + change[:, 6])).clip(0.6, 1.5)
    return _Laid(np.array(turns) @ laid.turns, laid.shifts + change[:, 3:6], sizes)
