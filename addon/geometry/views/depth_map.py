"""The surface as seen from one side: a picture of depths, exact at the middle of each pixel."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from ..groups import counted_out

_AT_ONCE = 4_000_000


@dataclass(frozen=True, eq=False)
class DepthMap:
    """Depths over a plane.

    `depths` is (rows, columns), NaN where nothing was seen; row 0 and column 0 lie at `low` = (across, up), the rest
    `pixel` apart. Larger depths are nearer to the eye.
    """

    depths: NDArray[np.float64]
    low: tuple[float, float]
    pixel: float

    @property
    def across(self) -> NDArray[np.float64]:
        """(columns,) coordinate of each column."""
        return self.low[0] + self.pixel * np.arange(self.depths.shape[1])

    @property
    def up(self) -> NDArray[np.float64]:
        """(rows,) coordinate of each row."""
        return self.low[1] + self.pixel * np.arange(self.depths.shape[0])

    @property
    def seen(self) -> NDArray[np.bool_]:
        """Where a surface was seen."""
        return np.isfinite(self.depths)

    def at(self, across: NDArray[np.float64], up: NDArray[np.float64]) -> NDArray[np.float64]:
        """Depth at any places, between pixels linearly; NaN beside what was seen."""
        return sampled(self.depths, self, across, up)


def sampled(
    picture: NDArray[np.float64], of: DepthMap, across: NDArray[np.float64], up: NDArray[np.float64]
) -> NDArray[np.float64]:
    """A picture over the same pixels as a depth map, read at any places; NaN outside."""
    rows = (np.asarray(up) - of.low[1]) / of.pixel
    columns = (np.asarray(across) - of.low[0]) / of.pixel
    return np.asarray(ndimage.map_coordinates(picture, [rows, columns], order=1, cval=np.nan), dtype=np.float64)


def depth_map(
    places: NDArray[np.float64],
    triangles: NDArray[np.int32],
    low: tuple[float, float],
    high: tuple[float, float],
    pixel: float,
) -> DepthMap:
    """The nearest surface over each pixel of a rectangle.

    Parameters
    ----------
    places : (n, 3) array: across, up, and depth towards the eye, of each vertex
    triangles : (m, 3) array of rows of `places`; both sides are seen
    low, high : corners of the rectangle, (across, up)
    pixel : side of a pixel, in the unit of across and up

    Returns
    -------
    DepthMap
    """
    columns = int(np.floor((high[0] - low[0]) / pixel)) + 1
    rows = int(np.floor((high[1] - low[1]) / pixel)) + 1
    depths = np.full(rows * columns, -np.inf)
    corners = places[triangles] - np.array([low[0], low[1], 0.0])
    corners[:, :, :2] /= pixel
    first = np.ceil(corners[:, :, :2].min(axis=1)).clip(0, None).astype(np.int64)
    last = np.floor(corners[:, :, :2].max(axis=1)).clip(None, (columns - 1, rows - 1)).astype(np.int64)
    spans = (last - first + 1).clip(0, None)
    counts = spans[:, 0] * spans[:, 1]
    chosen = np.flatnonzero(counts)
    ends = np.cumsum(counts[chosen])
    start = 0
    while start < len(chosen):
        done = int(ends[start - 1]) if start else 0
        stop = max(start + 1, int(np.searchsorted(ends, done + _AT_ONCE, side="right")))
        _paint(depths, columns, corners, first, spans, counts, chosen[start:stop])
        start = stop
    depths[np.isneginf(depths)] = np.nan
    return DepthMap(depths.reshape(rows, columns), low, pixel)


def _paint(
    depths: NDArray[np.float64],
    columns: int,
    corners: NDArray[np.float64],
    first: NDArray[np.int64],
    spans: NDArray[np.int64],
    counts: NDArray[np.int64],
    chosen: NDArray[np.int64],
) -> None:
    """Raise `depths` to the chosen triangles at the pixel middles they cover."""
    group, step = counted_out(counts[chosen])
    which = chosen[group]
    column = first[which, 0] + step % spans[which, 0]
    row = first[which, 1] + step // spans[which, 0]
    a, b, c = corners[which, 0], corners[which, 1], corners[which, 2]
    double = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (c[:, 0] - a[:, 0]) * (b[:, 1] - a[:, 1])
    safe = np.where(double == 0, 1.0, double)
    of_b = ((column - a[:, 0]) * (c[:, 1] - a[:, 1]) - (c[:, 0] - a[:, 0]) * (row - a[:, 1])) / safe
    of_c = ((b[:, 0] - a[:, 0]) * (row - a[:, 1]) - (column - a[:, 0]) * (b[:, 1] - a[:, 1])) / safe
    # A hair of overlap, so that a pixel middle on a shared edge is never missed by both triangles.
    inside = (double != 0) & (of_b >= -1e-9) & (of_c >= -1e-9) & (of_b + of_c <= 1 + 1e-9)
    depth = a[:, 2] + of_b * (b[:, 2] - a[:, 2]) + of_c * (c[:, 2] - a[:, 2])
    np.maximum.at(depths, (row * columns + column)[inside], depth[inside])
