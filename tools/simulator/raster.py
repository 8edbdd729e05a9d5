"""A depth buffer in plain arrays: which triangle is seen at each cell of an image."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

NOTHING = np.int64(-1)


def seen_triangles(image: NDArray[np.float64], depth: NDArray[np.float64], triangles: NDArray[np.int32],
                   shape: tuple[int, int]) -> NDArray[np.int64]:  # fmt: skip
    """The nearest triangle at each cell of an image.

    Parameters
    ----------
    image : (n, 2) places of the vertices in the image, in cells: cell (i, j) is sampled at (i, j)
    depth : (n,) distances, positive
    triangles : (m, 3)
    shape : cells along the two axes

    Returns
    -------
    (shape) rows of `triangles`, -1 where nothing is seen.
    """
    empty = np.uint64(2**64 - 1)
    buffer = np.full(shape[0] * shape[1], empty, np.uint64)
    for cells, depths, rows in _covered(image, depth, triangles, shape):
        # A positive float32 keeps its order when its bits are read as an integer.
        keys = depths.astype(np.float32).view(np.uint32).astype(np.uint64) << np.uint64(32) | rows.astype(np.uint64)
        np.minimum.at(buffer, cells, keys)
    found = (buffer & np.uint64(0xFFFFFFFF)).astype(np.int64)
    return np.where(buffer == empty, NOTHING, found).reshape(shape)


def barycentric(corners: NDArray[np.float64], places: NDArray[np.float64]) -> NDArray[np.float64]:
    """(k, 3) weights of places (k, 2) in triangles (k, 3, 2); two alike corners give weights that are not finite."""
    (ax, ay), (bx, by), (cx, cy) = (corners[:, i].T for i in range(3))
    x, y = places.T
    doubled = (bx - ax) * (cy - ay) - (cx - ax) * (by - ay)
    with np.errstate(divide="ignore", invalid="ignore"):
        second = ((x - ax) * (cy - ay) - (cx - ax) * (y - ay)) / doubled
        third = ((bx - ax) * (y - ay) - (x - ax) * (by - ay)) / doubled
        return np.stack([1 - second - third, second, third], 1)


def _covered(image: NDArray, depth: NDArray, triangles: NDArray,
             shape: tuple[int, int]) -> Iterator[tuple[NDArray, NDArray, NDArray]]:  # fmt: skip
    """Cells, depths and triangles for every cell centre inside a triangle, in batches of like-sized triangles."""
    corners = image[triangles]
    first, second, third = corners.transpose(1, 0, 2)
    low = np.maximum(np.ceil(np.minimum(np.minimum(first, second), third)), 0).astype(np.int64)
    high = np.minimum(np.floor(np.maximum(np.maximum(first, second), third)), np.array(shape) - 1).astype(np.int64)
    extent = high - low + 1
    visible = (extent[:, 0] > 0) & (extent[:, 1] > 0)
    size = np.where(visible, 2 ** np.ceil(np.log2(np.maximum(np.maximum(extent[:, 0], extent[:, 1]), 1))).astype(int), 0)
    for side in np.unique(size[size > 0]):
        rows_of_size = np.flatnonzero(size == side)
        for rows in np.array_split(rows_of_size, max(1, len(rows_of_size) * side**2 // 2_000_000)):
            yield from _covered_by(rows, int(side), corners, depth[triangles[rows]], low, high, shape)


def _covered_by(rows: NDArray, side: int, corners: NDArray, depths: NDArray, low: NDArray, high: NDArray,
                shape: tuple[int, int]) -> Iterator[tuple[NDArray, NDArray, NDArray]]:  # fmt: skip
    offsets = np.stack(np.meshgrid(np.arange(side), np.arange(side), indexing="ij"), -1).reshape(-1, 2)
    which = np.repeat(np.arange(len(rows)), len(offsets))
    places = low[rows][which] + np.tile(offsets, (len(rows), 1))
    fits = (places <= high[rows][which]).all(axis=1)
    which, places = which[fits], places[fits]
    weights = barycentric(corners[rows][which], places)
    inside = (weights >= -1e-9).all(axis=1)
    which, places, weights = which[inside], places[inside], weights[inside]
    yield places[:, 0] * shape[1] + places[:, 1], np.einsum("kc,kc->k", weights, depths[which]), rows[which]
