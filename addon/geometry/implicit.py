"""The signed distance to the surface near a cloud, from spheres fitted round each place (moving least squares)."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree


@dataclass(frozen=True, eq=False)
class Near:
    """What a cloud says about places near it: `distance` signed and smooth, `gap` to the nearest point, its `row`.

    `lean` is how far the fit's points lie to one side of the place, of the kernel's radius: 0 amid the points, 0.26
    on a straight rim, towards 1 beyond it.
    """

    distance: NDArray[np.float64]
    lean: NDArray[np.float64]
    gap: NDArray[np.float64]
    row: NDArray[np.int64]


class SphereFit:
    """An implicit surface through an oriented cloud.

    Parameters
    ----------
    points : (n, 3) float array in tree order, millimetres
    normals : (n, 3) outward unit vectors
    weights : (n,) how much each point counts
    count : neighbours in a fit; the kernel ends at the last of them, so it widens where points are few

    Notes
    -----
    Algebraic point set surfaces (Guennebaud and Gross 2007, doi 10.1145/1275808.1276406) with the sphere fitted to
    positions and normals in closed form (Guennebaud, Germann and Gross 2008): unlike a plane it does not shrink
    what is round. Neighbours that face away from the nearest one belong to another skin and are left out.
    """

    def __init__(
        self,
        points: NDArray[np.float64],
        normals: NDArray[np.float64],
        weights: NDArray[np.float64],
        count: int = 24,
    ) -> None:
        self._tree = cKDTree(points, leafsize=12, balanced_tree=False)
        self._known = np.concatenate([points, normals, weights[:, None]], axis=1)
        self._count = min(count, len(points))

    def near(self, places: NDArray[np.float64]) -> Near:
        """The cloud's word on (m, 3) places, which are best given in an order that keeps neighbours together."""
        distance, lean, gap = np.empty(len(places)), np.empty(len(places)), np.empty(len(places))
        row = np.empty(len(places), np.int64)
        for start in range(0, len(places), _CHUNK):
            part = slice(start, start + _CHUNK)
            apart, rows = self._tree.query(places[part], self._count, workers=-1)
            apart, rows = apart.reshape(-1, self._count), rows.reshape(-1, self._count)
            distance[part], lean[part] = _sphere_distance(places[part], apart, self._known[rows])
            gap[part], row[part] = apart[:, 0], rows[:, 0]
        return Near(distance, lean, gap, row)


_CHUNK = 40_000
_OTHER_SKIN = -0.2  # cosine below which a neighbour's normal shows it to lie on another skin


def _sphere_distance(
    places: NDArray[np.float64], apart: NDArray[np.float64], known: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Signed distance of each place to the sphere through its neighbours (m, k, 7: point, normal, weight), and lean."""
    way = known[..., :3] - places[:, None]
    normal = known[..., 3:6]
    fall = 1.0 - (apart / np.maximum(apart[:, -1:], 1e-12)) ** 2
    weight = known[..., 6] * (fall * fall * fall + 1e-9)
    alike = np.einsum("mki,mi->mk", normal, normal[:, 0])
    weight *= alike > _OTHER_SKIN
    total = weight.sum(axis=1)
    way_sum = np.einsum("mk,mki->mi", weight, way)
    normal_sum = np.einsum("mk,mki->mi", weight, normal)
    along = np.einsum("mk,mk->m", weight, np.einsum("mki,mki->mk", way, normal))
    squared = np.einsum("mk,mk->m", weight, apart * apart)
    spread = squared - np.einsum("mi,mi->m", way_sum, way_sum) / total
    bend = 0.5 * (along - np.einsum("mi,mi->m", way_sum, normal_sum) / total) / np.maximum(spread, 1e-12 * total)
    limit = 0.5 / np.maximum(apart[:, -1], 1e-12)  # no sphere smaller than the kernel that fitted it
    bend = np.clip(bend, -limit, limit)
    slope = (normal_sum - 2 * bend[:, None] * way_sum) / total[:, None]
    offset = -(np.einsum("mi,mi->m", slope, way_sum) + bend * squared) / total
    steep = np.einsum("mi,mi->m", slope, slope)
    root = np.sqrt(np.maximum(steep - 4 * bend * offset, 0.0))
    middle = way_sum / total[:, None]
    height = np.einsum("mi,mi->m", middle, slope) / np.maximum(steep, 1e-12)
    aside = np.linalg.norm(middle - height[:, None] * slope, axis=1) / np.maximum(apart[:, -1], 1e-12)
    return 2 * offset / np.maximum(np.sqrt(steep) + root, 1e-6), aside
