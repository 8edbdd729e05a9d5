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
    """(k, 3) weights of places (k, 2) in triangles (k, 3, 2); a triangle without area gives none that are finite."""
    (ax, ay), (bx, by), (cx, cy) = (corners[:, i].T for i in range(3))
    x, y = places.T
    doubled = (bx - ax) * (cy - ay) - (cx - ax) * (by - ay)
    with np.errstate(divide="ignore", invalid="ignore"):
        second = ((x - ax) * (cy - ay) - (cx - ax) * (y - ay)) / doubled
        third = ((bx - ax) * (y - ay) - (x - ax) * (by - ay)) / doubled
        return np.stack([1 - second - third, second, third], 1)


def _covered(
    image: NDArray[np.float64], depth: NDArray[np.float64], triangles: NDArray[np.int32], shape: tuple[int, int]
) -> Iterator[tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.int64]]]:
    """Cells, depths and triangles for every cell centre inside a triangle, in batches of like-sized triangles."""
    rows = np.arange(len(triangles))
    low, high = [], []
    for axis in (0, 1):  # most triangles fall between the rows of cells: they go before the next axis is looked at
        first, second, third = image[:, axis][triangles[rows].T]
        start = np.maximum(np.ceil(np.minimum(np.minimum(first, second), third)), 0).astype(np.int64)
        end = np.minimum(np.floor(np.maximum(np.maximum(first, second), third)), shape[axis] - 1).astype(np.int64)
        kept = end >= start
        rows = rows[kept]
        low, high = [part[kept] for part in (*low, start)], [part[kept] for part in (*high, end)]
    low, high = np.stack(low, 1), np.stack(high, 1)
    side_of = 2 ** np.ceil(np.log2(np.maximum(*(high - low + 1).T))).astype(int)
    for side in np.unique(side_of):
        of_size = np.flatnonzero(side_of == side)
        for part in np.array_split(of_size, max(1, len(of_size) * side**2 // 2_000_000)):
            chosen = triangles[rows[part]]
            yield _covered_by(rows[part], int(side), image[chosen], depth[chosen], low[part], high[part], shape)


def _covered_by(
    rows: NDArray[np.int64],
    side: int,
    corners: NDArray[np.float64],
    depths: NDArray[np.float64],
    low: NDArray[np.int64],
    high: NDArray[np.int64],
    shape: tuple[int, int],
) -> tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.int64]]:
    """The same for triangles that fit into squares of `side` cells, each beginning at its `low` cell."""
    offsets = np.stack(np.meshgrid(np.arange(side), np.arange(side), indexing="ij"), -1).reshape(-1, 2)
    which = np.repeat(np.arange(len(rows)), len(offsets))
    places = low[which] + np.tile(offsets, (len(rows), 1))
    fits = (places[:, 0] <= high[which, 0]) & (places[:, 1] <= high[which, 1])
    which, places = which[fits], places[fits]
    weights = barycentric(corners[which], places)
    inside = (weights[:, 0] >= -1e-9) & (weights[:, 1] >= -1e-9) & (weights[:, 2] >= -1e-9)
    which, places, weights = which[inside], places[inside], weights[inside]
    return places[:, 0] * shape[1] + places[:, 1], np.einsum("kc,kc->k", weights, depths[which]), rows[which]
