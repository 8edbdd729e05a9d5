"""Where on a surface in any pose the face is: a mean face laid over every place that sticks out like a nose."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from ..geometry.cloud import Cloud
from ..geometry.progress import SILENT, Progress
from ..geometry.transforms import applied, rotation, transform
from .mean_face import face_points
from .proportions import mean_head

_SPACING = 4.0
"""Least useful spacing of the points searched, mm."""

_TIP_REACH = 26.0
_CANDIDATES = 36
_ROLLS = 12
_PITCHES = (0.0, -0.5)
"""Starts for the nose's axis against the mean normal round its tip, radians."""


@dataclass(frozen=True)
class Face:
    """A face that was found.

    `matrix` (4, 4) takes the surface to the posed frame of a mean adult, `size` is how much larger than that adult's
    the face is, and `likeness` the share of the mean face that the surface follows, 0 to 1. `rival` is the likeness
    of the best other place, far from this one.
    """

    matrix: NDArray[np.float64]
    size: float
    likeness: float
    rival: float


def find_face(surface: Cloud, progress: Progress = SILENT) -> Face:
    """The place where the mean face lies best.

    Parameters
    ----------
    surface : Cloud with normals pointing outwards, mm, points some 3 to 5 mm apart
    progress : told how far it is

    Returns
    -------
    Face; always the best there is, however poor: look at `likeness`.
    """
    assert surface.normals is not None
    tree = cKDTree(surface.points)
    tips, axes = _tips(surface, tree)
    shape, directions = face_points(10.0)
    starts = _starts(tips, axes)
    fitted = []
    for row, start in enumerate(starts):
        if row % 64 == 0:
            progress(0.6 * row / len(starts), "looking for the face")
        fitted.append(_laid(start, 1.0, shape, directions, surface, tree, reach=(24.0, 16.0, 12.0)))
    order = np.argsort([-likeness for _, _, likeness in fitted])[:40]
    shape, directions = face_points(6.0)
    better = []
    for place, row in enumerate(order):
        progress(0.6 + 0.4 * place / len(order), "laying a mean face over the best places")
        pose, size, _ = fitted[row]
        better.append(
            _laid(pose, size, shape, directions, surface, tree, reach=(10.0, 8.0, 7.0, 6.0, 6.0, 6.0, 6.0, 6.0))
        )
    best = max(better, key=lambda each: each[2])
    nose = mean_head()["pronasale"]
    here = applied(best[0], nose * best[1])
    elsewhere = [each[2] for each in better if np.linalg.norm(applied(each[0], nose * each[1]) - here) > 25.0]
    return Face(np.linalg.inv(best[0]), best[1], best[2], max(elsewhere, default=0.0))


def _tips(surface: Cloud, tree: cKDTree) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Places that stand out most from what lies round them, and the way they point."""
    points, normals = surface.points, surface.normals
    assert normals is not None
    places = points[:: max(1, len(points) // 6000)]
    tips = np.empty(len(places))
    axes = np.empty_like(places)
    for row, around in enumerate(tree.query_ball_point(places, _TIP_REACH)):
        axis = normals[around].sum(axis=0)
        axes[row] = axis / max(float(np.linalg.norm(axis)), 1e-9)
        tips[row] = axes[row] @ (places[row] - points[around].mean(axis=0))
    chosen: list[int] = []
    for row in np.argsort(-tips):
        if all(np.linalg.norm(places[row] - places[other]) > 12.0 for other in chosen):
            chosen.append(int(row))
        if len(chosen) == _CANDIDATES:
            break
    return places[chosen], axes[chosen]


def _starts(tips: NDArray[np.float64], axes: NDArray[np.float64]) -> list[NDArray[np.float64]]:
    """Poses that put the mean nose tip on each tip, at every roll about its axis."""
    nose = mean_head()["pronasale"]
    starts = []
    for tip, axis in zip(tips, axes, strict=True):
        back = -axis
        side = np.cross(back, np.eye(3)[np.argmin(np.abs(back))])
        side /= np.linalg.norm(side)
        upright = np.column_stack([side, back, np.cross(side, back)])
        for roll in np.arange(_ROLLS) * (2 * np.pi / _ROLLS):
            for pitch in _PITCHES:
                turn = upright @ rotation([0, 1, 0], roll) @ rotation([1, 0, 0], pitch)
                starts.append(transform(turn, tip - turn @ nose))
    return starts


def _laid(
    pose: NDArray[np.float64],
    size: float,
    shape: NDArray[np.float64],
    directions: NDArray[np.float64],
    surface: Cloud,
    tree: cKDTree,
    reach: tuple[float, ...],
) -> tuple[NDArray[np.float64], float, float]:
    """The mean face slid onto the surface: pose, size and likeness. Point-to-plane steps, `reach` mm each."""
    assert surface.normals is not None
    for limit in (*reach, 0.0):
        turn, shift = pose[:3, :3], pose[:3, 3]
        turned = (size * shape) @ turn.T
        laid = turned + shift
        distances, rows = tree.query(laid, distance_upper_bound=25.0)
        found = rows < len(surface)
        rows = np.where(found, rows, 0)
        normals = surface.normals[rows]
        agree = np.einsum("nd,nd->n", directions @ turn.T, normals)
        gaps = np.where(found, np.einsum("nd,nd->n", normals, surface.points[rows] - laid), 25.0)
        if limit == 0.0:
            close = np.exp(-0.5 * (gaps / 3.5) ** 2) * np.clip(agree, 0, 1) ** 2 * (distances < 9.0)
            return pose, size, float(close.mean())
        weights = np.where(found & (agree > 0.3), agree / (1 + (gaps / (0.4 * limit)) ** 2), 0.0)
        if np.count_nonzero(weights) < 20:
            return pose, size, 0.0
        arms = laid - shift
        slopes = np.column_stack([np.cross(arms, normals), normals, np.einsum("nd,nd->n", arms, normals)])
        normal_matrix = slopes.T @ (slopes * weights[:, None])
        # Held towards no change of size, so that a flat patch cannot swell the face.
        normal_matrix[6, 6] += 0.05 * weights.sum() * 60.0**2
        change = np.linalg.solve(normal_matrix + 1e-9 * np.eye(7), slopes.T @ (weights * gaps))
        angle = float(np.linalg.norm(change[:3]))
        spun = rotation(change[:3], min(angle, 0.4)) @ turn if angle > 1e-9 else turn
        size = float(np.clip(size * (1 + change[6]), 0.6, 1.5))
        pose = transform(spun, shift + change[3:6])
    return pose, size, 0.0
