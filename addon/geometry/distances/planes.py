"""How near a triangle can come to a point at most: by its plane, and by the planes square to it along its edges.

Only beyond a corner is a triangle farther than that. Told in single precision; `with_rounding` says what to allow.
"""

import numpy as np

from .columns import ROUNDING, Corners, Reals, Rows, Singles, crosses, dots, squared_edges

_NEEDLE = 1e-6
"""Height over length of a triangle under which its normal is not trusted."""


def plane_columns(corners: Corners) -> Singles:
    """(16, m) columns: normal and offset of each triangle's plane, and of the planes along its edges, facing outwards.

    Those of a needle are zero, so that it is never taken to be far.
    """
    a, b, c = corners
    edges = (c - b, a - c, b - a)
    normal = crosses(edges[1], edges[2])
    doubled, squares = np.sqrt(dots(normal, normal)), squared_edges(corners)
    sound = doubled > _NEEDLE * squares.max(axis=0)
    normal *= sound / np.where(sound, doubled, 1.0)
    columns = [*normal, -dots(normal, a)]
    for edge, squared, start in zip(edges, squares, (b, c, a), strict=True):
        outwards = crosses(edge, normal) / np.where(sound, np.sqrt(squared), 1.0)
        columns += [*outwards, -dots(outwards, start)]
    return np.array(columns, np.float32)


def plane_bound(columns: Singles, triangles: Rows, points: Singles) -> Singles:
    """(n,) squared distance to (3, n) points under which the triangle paired with each does not come."""

    def over(plane: int) -> Singles:
        nx, ny, nz, offset = (columns[4 * plane + k].take(triangles) for k in range(4))
        height: Singles = nx * points[0] + ny * points[1] + nz * points[2] + offset
        return height

    aside = np.maximum(np.maximum(over(1), over(2)), over(3))
    np.maximum(aside, 0, out=aside)
    height = over(0)
    bound: Singles = height * height + aside * aside
    return bound


def with_rounding(points: Reals, reach: Reals) -> Singles:
    """(n,) squares of how far to look from (3, n) points, with what `plane_bound` may be too large by."""
    rounding = 2 * ROUNDING * (np.sqrt(dots(points, points)) + reach)
    squares: Singles = ((reach + rounding) ** 2 * (1 + ROUNDING)).astype(np.float32)
    return squares
