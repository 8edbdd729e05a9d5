"""The closest place on each of many triangles to the point paired with it."""

import numpy as np

from .columns import Corners, Reals, Rows, dots


class Frames:
    """Per triangle what the closest place on it needs: a corner, two edges and their products.

    Parameters
    ----------
    columns : (12, m) array, as `frame_columns` makes it
    """

    def __init__(self, columns: Reals) -> None:
        self._rows = np.ascontiguousarray(columns.T)

    def closest(self, points: Reals, triangles: Rows) -> tuple[Reals, Reals]:
        """(n,) squared distance and (3, n) closest place of each of (3, n) points on the triangle paired with it.

        Notes
        -----
        The regions of a triangle's plane as in Ericson, Real-Time Collision Detection (2005), section 5.1.5.
        """
        found = np.ascontiguousarray(self._rows.take(triangles, axis=0).T)
        corner, along, beside = found[0:3], found[3:6], found[6:9]
        offset = points - corner
        v, w = _shares(dots(along, offset), dots(beside, offset), *found[9:12])
        foot = v * along + w * beside
        away = offset - foot
        return dots(away, away), corner + foot


def frame_columns(corners: Corners) -> Reals:
    """(12, m) columns for `Frames`."""
    a, b, c = corners
    along, beside = b - a, c - a
    return np.array([*a, *along, *beside, dots(along, along), dots(along, beside), dots(beside, beside)])


def _shares(
    d1: Reals,
    d2: Reals,
    aa: Reals,
    ab: Reals,
    bb: Reals,
) -> tuple[Reals, Reals]:
    """How much of each edge leads to the closest place; a triangle without area falls back on its edges."""
    d3, d4, d5, d6 = d1 - aa, d2 - ab, d1 - ab, d2 - bb
    over_bc, over_ca, over_ab = d3 * d6 - d5 * d4, d5 * d2 - d1 * d6, d1 * d4 - d3 * d2
    total = over_bc + over_ca + over_ab
    inside = (over_bc > 0) & (over_ca > 0) & (over_ab > 0)
    v = over_ca / np.where(inside, total, 1.0)
    w = over_ab / np.where(inside, total, 1.0)
    outside = np.flatnonzero(~inside)
    if len(outside):
        v[outside], w[outside] = _shares_on_edges(*(each[outside] for each in (d1, d2, d3, d4, aa, ab, bb)))
    return v, w


def _shares_on_edges(
    d1: Reals,
    d2: Reals,
    d3: Reals,
    d4: Reals,
    aa: Reals,
    ab: Reals,
    bb: Reals,
) -> tuple[Reals, Reals]:
    """The shares of the closest place on the triangle's rim: the best of its three edges."""
    tiny = np.finfo(np.float64).tiny
    length_bc = aa - 2 * ab + bb
    on_ab = np.clip(d1 / np.maximum(aa, tiny), 0, 1)
    on_ca = np.clip(d2 / np.maximum(bb, tiny), 0, 1)
    on_bc = np.clip((d4 - d3) / np.maximum(length_bc, tiny), 0, 1)
    # squared distance less |offset|², along each edge
    costs = np.stack(
        [
            on_ab * (on_ab * aa - 2 * d1),
            on_ca * (on_ca * bb - 2 * d2),
            on_bc * (on_bc * length_bc - 2 * (d4 - d3)) + aa - 2 * d1,
        ]
    )
    edge, none = costs.argmin(axis=0), np.zeros_like(on_ab)
    return np.choose(edge, [on_ab, none, 1 - on_bc]), np.choose(edge, [none, on_ca, on_bc])
