"""The signed distance to the surface near a cloud, from spheres fitted round each place (moving least squares)."""

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..bricks import CELL_CORNERS
from ..neighbours import Arranged


@dataclass(frozen=True, eq=False)
class Near:
    """What a cloud says about places near it: `distance` signed and smooth, `gap` to the nearest point, its `row`.

    `lean` is how far the fit's points lie to one side of the place, of the kernel's radius: 0 amid the points, 0.26
    on a straight rim, towards 1 beyond it. `bend` is half the curvature of the sphere fitted, 1/millimetres, positive
    where the body is convex.
    """

    distance: NDArray[np.float64]
    lean: NDArray[np.float64]
    bend: NDArray[np.float64]
    gap: NDArray[np.float64]
    row: NDArray[np.int64]


class SphereFit:
    """An implicit surface through an oriented cloud.

    Parameters
    ----------
    held : the points, arranged, millimetres
    normals : (n, 3) outward unit vectors
    weights : (n,) how much each point counts
    radii : (n,) how far the word of each point reaches, millimetres; None lets the kernel end at the last neighbour
    count : neighbours looked at

    Notes
    -----
    Algebraic point set surfaces (Guennebaud and Gross 2007, doi 10.1145/1275808.1276406) with the sphere fitted to
    positions and normals in closed form (Guennebaud, Germann and Gross 2008): unlike a plane it does not shrink
    what is round. Neighbours that face away from the nearest one belong to another skin and are left out.

    The eight nodes of a block of a grid share one search. What a fit needs of the points are sums of products; about
    the block's middle those are the same for all eight but for the weights, so they are one product of small matrices.
    """

    def __init__(
        self,
        held: Arranged,
        normals: NDArray[np.float64],
        weights: NDArray[np.float64],
        radii: NDArray[np.float64] | None = None,
        count: int = 30,
    ) -> None:
        self._points, self._tree, self._even = held.points, held.tree, radii is None
        self._known = np.column_stack([normals, weights, weights if radii is None else radii]).astype(np.float32)
        self._count = min(count, len(held.points))

    def near(self, places: NDArray[np.float64]) -> Near:
        """The cloud's word on (m, 3) places, which are best given in an order that keeps neighbours together."""
        middles = np.arange(len(places))
        return self._gathered(places, np.zeros((1, 3)), middles, middles, np.zeros(len(places), np.int64))

    def near_nodes(self, nodes: NDArray[np.int64], origin: NDArray[np.float64], step: float) -> Near:
        """The cloud's word on nodes (m, 3) of a grid, best given so that those of one block (index // 2) come together.

        Node (i, j, k) lies at origin + (i, j, k) * step, millimetres.
        """
        blocks = nodes >> 1
        fresh = np.ones(len(nodes), bool)
        fresh[1:] = (blocks[1:] != blocks[:-1]).any(axis=1)
        starts = np.flatnonzero(fresh)
        corners = (CELL_CORNERS - 0.5) * step
        middles = origin + (2 * blocks[starts] + 0.5) * step
        return self._gathered(middles, corners, starts, np.cumsum(fresh) - 1, (nodes & 1) @ np.array([1, 2, 4]))

    def _gathered(
        self,
        middles: NDArray[np.float64],
        corners: NDArray[np.float64],
        starts: NDArray[np.int64],
        block: NDArray[np.int64],
        corner: NDArray[np.int64],
    ) -> Near:
        """What is told of each place: corner `corner` of `block`; the places of block b begin at row starts[b]."""
        size = len(block)
        distance, lean, bend, gap = np.empty((4, size))
        found = Near(distance, lean, bend, gap, np.empty(size, np.int64))
        ends = np.append(starts, size)
        portion = _AT_ONCE // len(corners)

        def work(first: int) -> None:
            last = min(first + portion, len(starts))
            rows = slice(int(ends[first]), int(ends[last]))
            told = self._told(middles[first:last], corners)
            found.distance[rows], found.lean[rows], found.bend[rows], found.gap[rows], found.row[rows] = (
                each[block[rows] - first, corner[rows]] for each in told
            )

        with ThreadPoolExecutor(os.cpu_count()) as pool:
            list(pool.map(work, range(0, len(starts), portion)))
        return found

    def _told(
        self, middles: NDArray[np.float64], corners: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.int64]]:
        """Distance, lean, bend, gap, nearest row, (b, c), of the places at corners (c, 3) about the middles (b, 3)."""
        _, rows = self._tree.query(middles, self._count)
        rows = rows.reshape(len(middles), self._count)
        places = (self._points[rows] - middles[:, None]).astype(np.float32)
        normals, counts, radii = np.split(self._known[rows], [3, 4], axis=2)
        from_middle = np.einsum("bki,bki->bk", places, places)
        squared = from_middle[:, None] - (2 * corners).astype(np.float32) @ places.transpose(0, 2, 1)
        squared += np.float32((corners[0] ** 2).sum())
        nearest = squared.argmin(axis=2)
        chosen = np.arange(len(middles))[:, None], nearest
        least = np.maximum(np.take_along_axis(squared, nearest[..., None], axis=2), 0.0)
        if self._even:
            ends = np.maximum(squared.max(axis=2, keepdims=True), 1e-12)
        else:
            ends = (radii * radii).transpose(0, 2, 1) + _WIDENING * least
        weight = np.maximum(1.0 - squared / ends, 0.0)
        weight *= weight * weight
        weight += np.float32(1e-6)
        weight *= counts.transpose(0, 2, 1)
        weight *= normals[chosen] @ normals.transpose(0, 2, 1) > _OTHER_SKIN
        along = np.einsum("bki,bki->bk", places, normals)
        ones = np.ones_like(counts)
        sums = weight @ np.concatenate(
            [ones, places, normals, along[..., None], from_middle[..., None], radii * radii], axis=2
        )
        sums = sums.astype(np.float64)
        radius = np.sqrt(ends[..., 0] if self._even else sums[..., 9] / sums[..., 0] + _WIDENING * least[..., 0])
        return *_on_spheres(sums, corners, radius), np.sqrt(least[..., 0]), rows[chosen]


_AT_ONCE = 32768  # places worked on at a time: the tables then stay in the processor's cache
_WIDENING = 1.0  # of the squared gap, added to the squared kernel: off the points, more of them have a say
_OTHER_SKIN = -0.2  # cosine below which a neighbour's normal shows it to lie on another skin


def _on_spheres(
    sums: NDArray[np.float64], corners: NDArray[np.float64], radius: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Signed distance of each place (b, c) to the sphere through its neighbours, lean and bend.

    `sums` (b, c, 9 and more) are over the weights: 1, place (3), normal (3), place times normal, place squared, the
    places taken from the block's middle; `corners` (c, 3) lead from there; `radius` (b, c) is the kernel's.
    """
    total, normal_sum = sums[..., 0], sums[..., 4:7]
    way_sum = sums[..., 1:4] - corners * total[..., None]
    along = sums[..., 7] - np.einsum("bni,ni->bn", normal_sum, corners)
    squared = sums[..., 8] - 2 * np.einsum("bni,ni->bn", sums[..., 1:4], corners)
    squared = np.maximum(squared + (corners[0] ** 2).sum() * total, 0.0)
    spread = squared - np.einsum("bni,bni->bn", way_sum, way_sum) / total
    bend = 0.5 * (along - np.einsum("bni,bni->bn", way_sum, normal_sum) / total) / np.maximum(spread, 1e-6 * total)
    bend = np.clip(bend, -0.5 / radius, 0.5 / radius)  # no sphere smaller than the kernel that fitted it
    slope = (normal_sum - 2 * bend[..., None] * way_sum) / total[..., None]
    offset = -(np.einsum("bni,bni->bn", slope, way_sum) + bend * squared) / total
    steep = np.einsum("bni,bni->bn", slope, slope)
    root = np.sqrt(np.maximum(steep - 4 * bend * offset, 0.0))
    middle = way_sum / total[..., None]
    height = np.einsum("bni,bni->bn", middle, slope) / np.maximum(steep, 1e-12)
    lean = np.linalg.norm(middle - height[..., None] * slope, axis=2) / radius
    return 2 * offset / np.maximum(np.sqrt(steep) + root, 1e-6), lean, bend
