"""Which way the surface faces: at the vertices of a mesh, and, up to its sign, at the points of a cloud."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..directions import unit
from ..groups import summed
from ..measures import doubled_normals
from ..mesh import Mesh
from ..neighbours import Arranged


def plane_normals(
    held: Arranged, count: int = 16, reach: float = np.inf
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Normals of the planes through each point's neighbourhood, their signs left as they fall.

    Parameters
    ----------
    held : the points, arranged
    count : neighbours looked at; with `reach` large noise asks for more of them
    reach : neighbours farther than this are left out, millimetres

    Returns
    -------
    normals : (u, 3) unit vectors
    variation : (u,) least eigenvalue over the sum of all three: 0 on a plane, 1/3 where there is no surface

    Notes
    -----
    Total least squares of the neighbourhood (Hoppe and others 1992, doi 10.1145/133994.134011), the eigenvector by
    the closed form for symmetric 3 x 3 matrices (Smith 1961, doi 10.1145/355578.366316).
    """
    normals = np.empty_like(held.points)
    variation = np.empty(len(held.points))
    for start in range(0, len(held.points), _CHUNK):
        part = slice(start, start + _CHUNK)
        _, rows = held.tree.query(held.points[part], count + 1, distance_upper_bound=reach, workers=-1)
        normals[part], variation[part] = normals_through(held.points, rows)
    return normals, variation


def normals_through(
    points: NDArray[np.float64], rows: NDArray[np.integer[Any]]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The same for neighbours already found: (m, k) rows of `points`, the point itself first, n where there is none."""
    return least_axis(_covariance(points, rows))


_CHUNK = 100_000


def _covariance(points: NDArray[np.float64], rows: NDArray[np.integer[Any]]) -> NDArray[np.float64]:
    """(m, 3, 3) covariance, not divided by the number, of the points in each row; rows naming no point are left out."""
    missing = rows == len(points)
    whole = not missing.any()
    near = points[np.minimum(rows, len(points) - 1)] if not whole else points[rows]
    near -= near[:, :1].copy()  # about the point itself: no digits lost far from the origin
    if not whole:
        near[missing] = 0.0
    total = near.sum(axis=1)
    count = rows.shape[1] - missing.sum(axis=1)
    second: NDArray[np.float64] = np.einsum("mki,mkj->mij", near, near, optimize=True)
    second -= total[:, :, None] * total[:, None, :] / count[:, None, None]
    return second


def least_axis(second: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Eigenvector of the least eigenvalue of symmetric 3 x 3 matrices, and that eigenvalue's share of the trace.

    Parameters
    ----------
    second : (m, 3, 3) float array

    Returns
    -------
    axis : (m, 3) unit vectors; where the least eigenvalue is double, one of its plane
    share : (m,) from 0 to 1/3
    """
    trace = second[:, 0, 0] + second[:, 1, 1] + second[:, 2, 2]
    safe = np.where(trace > 0, trace, 1.0)
    xx, yy, zz, yz, xz, xy = (second[:, i, j] / safe for i, j in ((0, 0), (1, 1), (2, 2), (1, 2), (0, 2), (0, 1)))
    mean = (xx + yy + zz) / 3
    off = xy * xy + xz * xz + yz * yz
    spread = np.sqrt(np.maximum(((xx - mean) ** 2 + (yy - mean) ** 2 + (zz - mean) ** 2 + 2 * off) / 6, 1e-300))
    a, b, c = (xx - mean) / spread, (yy - mean) / spread, (zz - mean) / spread
    d, e, f = yz / spread, xz / spread, xy / spread
    half = (a * (b * c - d * d) - f * (f * c - d * e) + e * (f * d - b * e)) / 2
    angle = np.arccos(np.clip(half, -1, 1)) / 3
    least = mean + 2 * spread * np.cos(angle + 2 * np.pi / 3)
    rows = np.stack(
        [np.stack([xx - least, xy, xz], 1), np.stack([xy, yy - least, yz], 1), np.stack([xz, yz, zz - least], 1)], 1
    )
    crosses = np.stack([np.cross(rows[:, i], rows[:, j]) for i, j in ((0, 1), (0, 2), (1, 2))], axis=1)
    squared = np.einsum("mci,mci->mc", crosses, crosses)
    best = squared.argmax(axis=1)
    axis = np.take_along_axis(crosses, best[:, None, None], axis=1)[:, 0]
    length = np.sqrt(np.take_along_axis(squared, best[:, None], axis=1))
    lost = length[:, 0] < 1e-14  # two eigenvalues agree: any direction across the remaining one will do
    if lost.any():
        longest = rows[lost][np.arange(lost.sum()), np.abs(rows[lost]).sum(axis=2).argmax(axis=1)]
        other = np.eye(3)[np.abs(longest).argmin(axis=1)]
        across = np.cross(longest, other)
        size = np.linalg.norm(across, axis=1, keepdims=True)
        axis[lost] = np.where(size > 0, across, [0.0, 0.0, 1.0])
        length[lost] = np.where(size > 0, size, 1.0)
    return axis / length, np.clip(least, 0.0, 1 / 3)


def vertex_normals(mesh: Mesh) -> NDArray[np.float64]:
    """(n, 3) unit normals at the vertices: the mean of the triangles around, by area; 0 at an unused vertex."""
    across = np.repeat(doubled_normals(mesh), 3, axis=0)
    return unit(summed(mesh.triangles.ravel(), across, len(mesh.vertices)))
