"""Noise taken out of a cloud, creases left in."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .errors import BadCloud
from .neighbours import Arranged, arranged
from .normals import normals_through
from .progress import SILENT, Progress


@dataclass(frozen=True, eq=False)
class Denoised:
    """Points brought onto their surface, with the normals found on the way, signs as they fell; `reach` as used.

    `thin` (n,) marks the points left where they were: too few lie near to say where a surface is.
    """

    points: NDArray[np.float64]
    normals: NDArray[np.float64]
    reach: float
    thin: NDArray[np.bool_]


def denoised(
    points: NDArray[np.float64], reach: float = 0.0, crease: float = 20.0, progress: Progress = SILENT
) -> Denoised:
    """The cloud with each point drawn along its normal to where its neighbours say the surface is.

    Parameters
    ----------
    points : (n, 3) float array, millimetres
    reach : radius of the neighbourhood, millimetres; 0 takes 2.15 spacings, at least 1.2 mm
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
    exactly: round parts are not flattened. Through them goes a slope, laid anew without the heights far off it, so
    that a neighbourhood that lies to one side, at a rim or before a crease, draws nothing aside.
    """
    held = arranged(points)
    if len(held.points) < 10:
        raise BadCloud(f"{len(held.points)} distinct points are too few to tell surface from noise: 10 at least")
    distances, _ = held.tree.query(points[:: max(1, len(points) // 2000)], 9, workers=-1)
    spacing = float(np.median(distances[:, -1])) * float(np.sqrt(np.pi / 8.5))
    reach = reach or max(1.2, _SPACINGS * spacing)
    count = int(np.clip(round(1.2 * np.pi * (reach / spacing) ** 2), 16, 36))
    progress(0.05, "finding normals")
    near = _Neighbourhoods(held, min(count, len(held.points)), reach, crease)
    progress(0.45, "smoothing normals")
    near.smooth_normals()
    progress(0.65, "drawing points onto the surface")
    moved, thin = near.drawn()
    return Denoised(moved[held.back], near.normals[held.back], reach, thin[held.back])


_SPACINGS = 2.15
_CHUNK = 25_000
_FEWEST = 4  # points within reach, itself among them, up to which a point is left where it is
_ODD = 3.0  # deviations over the slope from which a height counts little


class _Neighbourhoods:
    """The neighbours of every point, and what follows from them, worked through a chunk at a time."""

    def __init__(self, held: Arranged, count: int, reach: float, crease: float) -> None:
        self._points, self._reach = held.points, reach
        self._bend = 1.0 - np.cos(np.radians(crease))
        size = (len(held.points), count)
        self._rows, self._apart = np.empty(size, np.int32), np.empty(size, np.float32)
        self.normals = np.empty_like(held.points)
        for part in self._parts():
            self._apart[part], self._rows[part] = held.tree.query(self._points[part], count, workers=-1)
            self.normals[part], _ = normals_through(self._points, self._within(part))

    def smooth_normals(self) -> None:
        """Make each normal the mean of those around, those beyond a crease left out."""
        found = np.empty_like(self.normals)
        for part in self._parts():
            other, weight = self._others(part)
            total = np.einsum("mk,mki->mi", weight, other)
            found[part] = total / np.maximum(np.linalg.norm(total, axis=1, keepdims=True), 1e-300)
        self.normals = found

    def drawn(self) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
        """Each point moved along its normal to its neighbours' height, and which were left: too few are near."""
        found, thin = self._points.copy(), np.ones(len(self._points), bool)
        noise = 0.0
        for part in self._parts():
            other, weight = self._others(part)
            way = self._points[self._rows[part]] - self._points[part, None]
            height = 0.5 * (np.einsum("mki,mi->mk", way, self.normals[part]) + np.einsum("mki,mki->mk", way, other))
            noise = noise or 1.0483 * float(np.median(np.abs(height[:, 1:6])))  # of a difference: 1.4826 over root two
            thin[part] = (self._apart[part] < self._reach).sum(axis=1) <= _FEWEST
            rise = _height_here(way / self._reach, height, weight, self.normals[part], _ODD * max(noise, 1e-12))
            found[part] += np.where(thin[part], 0.0, rise)[:, None] * self.normals[part]
        return found, thin

    def _parts(self) -> list[slice]:
        return [slice(start, start + _CHUNK) for start in range(0, len(self._points), _CHUNK)]

    def _within(self, part: slice) -> NDArray[np.int32]:
        """Rows of the neighbours within reach, and of the nearest dozen however far: a normal needs some."""
        rows = self._rows[part].copy()
        rows[:, 12:][self._apart[part, 12:] > self._reach] = len(self._points)
        return rows

    def _others(self, part: slice) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """(m, k, 3) the neighbours' normals, turned as each point's own, and (m, k) what they weigh."""
        other = self.normals[self._rows[part]]
        cosine = np.einsum("mi,mki->mk", self.normals[part], other)
        other *= np.where(cosine < 0, -1.0, 1.0)[..., None]
        apart = self._apart[part] / np.float32(self._reach)
        weight = np.exp(-2 * apart.astype(np.float64) ** 2 - ((1 - np.abs(cosine)) / self._bend) ** 2)
        return other, np.where(apart > 1, 0.0, weight)


def _height_here(
    way: NDArray[np.float64],
    height: NDArray[np.float64],
    weight: NDArray[np.float64],
    normal: NDArray[np.float64],
    odd: float,
) -> NDArray[np.float64]:
    """(m,) height at each point's own place of the slope through its neighbours' heights, odd ones left out."""
    first = np.cross(normal, np.eye(3)[np.abs(normal).argmin(axis=1)])
    first /= np.maximum(np.linalg.norm(first, axis=1, keepdims=True), 1e-300)
    x = np.einsum("mki,mi->mk", way, first)
    y = np.einsum("mki,mi->mk", way, np.cross(normal, first))
    heavy = weight
    for turn in range(_TURNS):
        wx, wy = heavy * x, heavy * y
        one, xx, yy = heavy.sum(axis=1), (wx * x).sum(axis=1) + _DAMPING, (wy * y).sum(axis=1) + _DAMPING
        sx, sy, xy = wx.sum(axis=1), wy.sum(axis=1), (wx * y).sum(axis=1)
        h, hx, hy = (heavy * height).sum(axis=1), (wx * height).sum(axis=1), (wy * height).sum(axis=1)
        minor_x, minor_y, minor = sx * yy - sy * xy, sy * xx - sx * xy, xx * yy - xy * xy
        whole = one * minor - sx * minor_x - sy * minor_y
        here = (h * minor - hx * minor_x - hy * minor_y) / np.maximum(whole, 1e-300)
        if turn < _TURNS - 1:
            slope_x = (hx - here * sx - (xy * (hy - here * sy) / yy)) / np.maximum(xx - xy * xy / yy, 1e-300)
            slope_y = (hy - here * sy - xy * slope_x) / yy
            over = height - here[:, None] - slope_x[:, None] * x - slope_y[:, None] * y
            heavy = weight * np.exp(-((over / odd) ** 2))
    return np.asarray(here)


_TURNS = 3
_DAMPING = 0.02  # holds the slope where the neighbours lie in a line
