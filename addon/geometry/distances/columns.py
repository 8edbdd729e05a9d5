"""Points and triangles' corners by columns: along a column arithmetic is many times as quick as along rows of three."""

import numpy as np
from numpy.typing import NDArray

Reals = NDArray[np.float64]
Singles = NDArray[np.float32]
Rows = NDArray[np.int64]
Corners = tuple[Reals, Reals, Reals]
"""The first, second and third corners of m triangles, each (3, m): x, y and z."""

ROUNDING = 1e-6
"""What a few sums and products in single precision may be off by, of the largest number: sixteen times one rounding."""


def corner_columns(vertices: Reals, triangles: NDArray[np.int32]) -> Corners:
    """The corners of (m, 3) triangles, given the vertices by columns."""
    a, b, c = (vertices.take(corner, axis=1) for corner in triangles.T)
    return a, b, c


def dots(one: Reals, other: Reals) -> Reals:
    """(m,) scalar products."""
    product: Reals = one[0] * other[0] + one[1] * other[1] + one[2] * other[2]
    return product


def crosses(one: Reals, other: Reals) -> Reals:
    """(3, m) vector products."""
    (ax, ay, az), (bx, by, bz) = one, other
    return np.stack([ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx])


def squared_edges(corners: Corners) -> Reals:
    """(3, m) squared lengths of the edges opposite each corner."""
    a, b, c = corners
    return np.stack([dots(edge, edge) for edge in (c - b, a - c, b - a)])
