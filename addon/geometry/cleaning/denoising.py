"""Noise taken out of a cloud, creases left in."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..clouds.normals import least_axis
from ..clouds.own_sheet import on_own_sheet
from ..directions import unit
from ..errors import BadCloud
from ..neighbours import Arranged, arranged
from ..portions import in_portions
from ..progress import SILENT, Progress


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
    points: NDArray[np.float64], reach: float = 0.0, crease: float = 15.0, progress: Progress = SILENT
) -> Denoised:
    """The cloud with each point drawn along its normal to where its neighbours say the surface is.

    Parameters
    ----------
    points : (n, 3) float array, millimetres
    reach : radius of the neighbourhood, millimetres; 0 takes 2.3 spacings, at least 1.2 mm
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
    spacing = held.spacing()
    reach = reach or max(1.2, _SPACINGS * spacing)
    count = int(np.clip(round(1.2 * np.pi * (reach / spacing) ** 2), 16, 36))
    near = _Neighbourhoods(held, min(count, len(held.points)), reach, crease, progress.stretch(0.05, 0.55))
    near.smooth_normals(progress.stretch(0.55, 0.7))
    moved, thin = near.drawn(progress.stretch(0.7, 1.0))
    return Denoised(moved[held.back], near.normals.astype(np.float64)[held.back], reach, thin[held.back])


_SPACINGS = 2.3
_CHUNK = 2_000
_FEWEST = 4  # points within reach, itself among them, up to which a point is left where it is
_ODD = 3.0  # deviations over the slope from which a height counts little
_ASKED = 20_000  # points asked how large the noise is
_ANYHOW = 12  # neighbours that a normal is found from however far they lie: it needs some


class _Neighbourhoods:
    """The neighbours of every point, and what follows from them, worked through a portion at a time.

    Of m points with k neighbours each, ways and normals are kept as (m, 3, k), so that sums over neighbours run along
    the memory and small products of matrices do most of the work. Single precision is enough for what is relative to
    the point itself.
    """

    def __init__(self, held: Arranged, count: int, reach: float, crease: float, progress: Progress) -> None:
        self._points, self._reach = held.points, reach
        self._columns = np.ascontiguousarray(held.points.T)
        self._bend = np.float32(1.0 - np.cos(np.radians(crease)))
        size = (len(held.points), count)
        self._rows, self._apart = np.empty(size, np.int32), np.empty(size, np.float32)
        normals, shares = np.empty((size[0], 3)), np.empty(size[0])
        tree = held.tree

        def found(part: slice) -> None:
            self._apart[part], self._rows[part] = tree.query(self._points[part], count)
            normals[part], shares[part] = self._planes(part)

        in_portions(size[0], _CHUNK, found, progress, "finding normals")
        self.normals = on_own_sheet(self._points, self._rows, self._apart, normals, shares).astype(np.float32)

    def _planes(self, part: slice) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Normals of the planes through each point's neighbours within reach, and the nearest dozen anyhow; shares."""
        way = self._ways(part)
        counts = self._apart[part] <= self._reach
        counts[:, :_ANYHOW] = True
        way *= counts[:, None]
        total = way.sum(axis=2, dtype=np.float64)
        second = (way @ way.transpose(0, 2, 1)).astype(np.float64)
        second -= total[:, :, None] * total[:, None] / counts.sum(axis=1)[:, None, None]
        return least_axis(second)

    def smooth_normals(self, progress: Progress) -> None:
        """Make each normal the mean of those around, those beyond a crease left out."""
        found = np.empty_like(self.normals)
        columns = np.ascontiguousarray(self.normals.T)

        def smoothed(part: slice) -> None:
            other, weight, side = self._others(part, columns)
            found[part] = unit((other @ (weight * side)[:, :, None])[:, :, 0])

        in_portions(len(found), _CHUNK, smoothed, progress, "smoothing normals")
        self.normals = found

    def drawn(self, progress: Progress) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
        """Each point moved along its normal to its neighbours' height, and which were left: too few are near."""
        found, thin = self._points.copy(), np.ones(len(self._points), bool)
        columns = np.ascontiguousarray(self.normals.T)
        some = slice(0, None, max(1, len(found) // _ASKED))
        nearest = np.abs(self._heights(some, self._ways(some), *self._others(some, columns)[::2])[:, 1:6])
        odd = _ODD * max(1.0483 * float(np.median(nearest)), 1e-12)  # of a difference: 1.4826 over root two

        def moved(part: slice) -> None:
            other, weight, side = self._others(part, columns)
            way = self._ways(part)
            thin[part] = (self._apart[part] < self._reach).sum(axis=1) <= _FEWEST
            height = self._heights(part, way, other, side)
            rise = _height_here(way, height, weight, self.normals[part], self._reach, odd)
            found[part] += np.where(thin[part], 0.0, rise)[:, None] * self.normals[part]

        in_portions(len(found), _CHUNK, moved, progress, "drawing points onto the surface")
        return found, thin

    def _ways(self, part: slice) -> NDArray[np.float32]:
        """(m, 3, k) from each point to its neighbours."""
        return _gathered(self._columns, self._rows[part], self._points[part])

    def _others(self, part: slice, columns: NDArray[np.float32]) -> tuple[NDArray[np.float32], ...]:
        """(m, 3, k) the neighbours' normals, (m, k) what they weigh, and 1 or -1 as they face."""
        other = _gathered(columns, self._rows[part])
        cosine = (self.normals[part, None] @ other)[:, 0]
        apart = self._apart[part] / np.float32(self._reach)
        weight = np.exp(-2 * apart**2 - ((1 - np.abs(cosine)) / self._bend) ** 2)
        weight[apart > 1] = 0.0
        return other, weight, np.sign(cosine)

    def _heights(
        self, part: slice, way: NDArray[np.float32], other: NDArray[np.float32], side: NDArray[np.float32]
    ) -> NDArray[np.float32]:
        """(m, k) how high the neighbours lie over each point, along the mean of both normals."""
        own = (self.normals[part, None] @ way)[:, 0]
        theirs = way[:, 0] * other[:, 0] + way[:, 1] * other[:, 1] + way[:, 2] * other[:, 2]
        height: NDArray[np.float32] = np.float32(0.5) * (own + side * theirs)
        return height


def _gathered(
    columns: NDArray[np.floating[Any]], rows: NDArray[np.int32], origin: NDArray[np.float64] | None = None
) -> NDArray[np.float32]:
    """(m, 3, k) what the rows name in three columns, from an origin a row where one is given."""
    found = np.empty((len(rows), 3, rows.shape[1]), np.float32)
    for axis, column in enumerate(columns):
        values = column.take(rows)
        found[:, axis] = values if origin is None else values - origin[:, axis, None]
    return found


def _height_here(
    way: NDArray[np.float32],
    height: NDArray[np.float32],
    weight: NDArray[np.float32],
    normal: NDArray[np.float32],
    reach: float,
    odd: float,
) -> NDArray[np.float64]:
    """(m,) height at each point's own place of the slope through its neighbours' heights, odd ones left out."""
    first = unit(np.cross(normal, np.eye(3, dtype=np.float32)[np.abs(normal).argmin(axis=1)]))
    flat = (np.stack([first, np.cross(normal, first)], axis=1) / np.float32(reach)) @ way
    x, y = flat[:, 0], flat[:, 1]
    products = np.stack([np.ones_like(x), x, y, x * x, y * y, x * y, height, x * height, y * height], axis=1)
    heavy = weight
    for turn in range(_TURNS):
        sums = (products @ heavy[:, :, None])[:, :, 0].astype(np.float64)
        one, sx, sy, xx, yy, xy, h, hx, hy = sums.T
        xx, yy = xx + _DAMPING, yy + _DAMPING
        minor_x, minor_y, minor = sx * yy - sy * xy, sy * xx - sx * xy, xx * yy - xy * xy
        whole = one * minor - sx * minor_x - sy * minor_y
        here = (h * minor - hx * minor_x - hy * minor_y) / np.maximum(whole, 1e-300)
        if turn < _TURNS - 1:
            slope_x = (hx - here * sx - (xy * (hy - here * sy) / yy)) / np.maximum(xx - xy * xy / yy, 1e-300)
            slope_y = (hy - here * sy - xy * slope_x) / yy
            fit = np.stack([here, slope_x, slope_y], axis=1).astype(np.float32)
            over = height - (fit[:, None] @ products[:, :3])[:, 0]
            heavy = weight * np.exp(-((over / np.float32(odd)) ** 2))
    return np.asarray(here)


_TURNS = 3
_DAMPING = 0.02  # holds the slope where the neighbours lie in a line
