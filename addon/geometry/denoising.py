"""Noise taken out of a cloud, creases left in."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .errors import BadCloud
from .neighbours import Arranged, arranged
from .normals import plane_normals
from .progress import SILENT, Progress


@dataclass(frozen=True, eq=False)
class Denoised:
    """Points brought onto their surface, with the normals found on the way, signs as they fell; `reach` as used."""

    points: NDArray[np.float64]
    normals: NDArray[np.float64]
    reach: float


def denoised(
    points: NDArray[np.float64], reach: float = 0.0, crease: float = 20.0, progress: Progress = SILENT
) -> Denoised:
    """The cloud with each point drawn along its normal to where its neighbours say the surface is.

    Parameters
    ----------
    points : (n, 3) float array, millimetres
    reach : radius of the neighbourhood, millimetres; 0 takes 1.7 spacings, at least 1.2 mm
    crease : degrees between normals from which a neighbour counts little: it lies beyond a crease
    progress : told how far the work is

    Raises
    ------
    BadCloud
        There are fewer than ten distinct points.

    Notes
    -----
    A bilateral filter over positions and normals (Fleishman, Drori and Cohen-Or 2003, doi 10.1145/882262.882368;
    normals first, as Zheng and others 2011). Heights are taken along the mean of both normals, which meets a sphere
    exactly: round parts are not flattened.
    """
    held = arranged(points)
    if len(held.points) < 10:
        raise BadCloud(f"{len(held.points)} distinct points are too few to tell surface from noise: 10 at least")
    distances, _ = held.tree.query(points[:: max(1, len(points) // 2000)], 9, workers=-1)
    spacing = float(np.median(distances[:, -1])) * float(np.sqrt(np.pi / 8.5))
    reach = reach or max(1.2, 1.7 * spacing)
    count = int(np.clip(round(1.2 * np.pi * (reach / spacing) ** 2), 12, 40))
    progress(0.05, "finding normals")
    normals, _ = plane_normals(held, count, reach)
    near = _Neighbourhoods(held, count, reach, crease)
    progress(0.35, "smoothing normals")
    normals = near.through(normals, _smoothed_normals)
    progress(0.65, "drawing points onto the surface")
    moved = near.through(normals, _drawn)
    return Denoised(moved[held.back], normals[held.back], reach)


_CHUNK = 50_000


class _Neighbourhoods:
    """Weights of neighbours by distance and by normal, worked through a chunk at a time."""

    def __init__(self, held: Arranged, count: int, reach: float, crease: float) -> None:
        self._held, self._count, self._reach = held, count, reach
        self._bend = 1.0 - np.cos(np.radians(crease))

    def through(self, normals: NDArray[np.float64], work: "_Work") -> NDArray[np.float64]:
        """(n, 3) what `work` makes of each point's neighbourhood."""
        points, found = self._held.points, np.empty_like(self._held.points)
        for start in range(0, len(points), _CHUNK):
            part = slice(start, start + _CHUNK)
            apart, rows = self._held.tree.query(points[part], self._count, distance_upper_bound=self._reach, workers=-1)
            missing = rows == len(points)
            rows[missing] = np.broadcast_to(np.arange(len(points))[part, None], rows.shape)[missing]
            own, other = normals[part], normals[rows]
            cosine = np.einsum("mi,mki->mk", own, other)
            other *= np.where(cosine < 0, -1.0, 1.0)[..., None]
            apart[missing] = np.inf
            weight = np.exp(-2 * (apart / self._reach) ** 2 - ((1 - np.abs(cosine)) / self._bend) ** 2)
            found[part] = work(points[part], own, points[rows], other, weight)
        return found


_Work = Callable[
    [NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]],
    NDArray[np.float64],
]
"""Of places, their normals, their neighbours' points and normals, and the weights."""


def _smoothed_normals(
    _places: NDArray[np.float64],
    _own: NDArray[np.float64],
    _points: NDArray[np.float64],
    normals: NDArray[np.float64],
    weight: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Mean of the neighbours' normals, those beyond a crease left out."""
    total = np.einsum("mk,mki->mi", weight, normals)
    unit: NDArray[np.float64] = total / np.maximum(np.linalg.norm(total, axis=1, keepdims=True), 1e-300)
    return unit


def _drawn(
    places: NDArray[np.float64],
    own: NDArray[np.float64],
    points: NDArray[np.float64],
    normals: NDArray[np.float64],
    weight: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Each point moved along its normal by the mean height of its neighbours."""
    way = points - places[:, None]
    height = 0.5 * (np.einsum("mki,mi->mk", way, own) + np.einsum("mki,mki->mk", way, normals))
    moved: NDArray[np.float64] = places + own * (np.einsum("mk,mk->m", weight, height) / weight.sum(axis=1))[:, None]
    return moved
