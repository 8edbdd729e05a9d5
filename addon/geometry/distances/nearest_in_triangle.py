"""The closest place on each of many triangles to the point paired with it."""

import numpy as np
from numpy.typing import NDArray

from ..measures import triangle_normals
from ..mesh import Mesh


class Frames:
    """Per triangle what the closest place on it needs: a corner, two edges and their products; and a disc round it."""

    def __init__(self, mesh: Mesh) -> None:
        a, b, c = mesh.corners.transpose(1, 0, 2)
        along, beside = b - a, c - a
        products = [np.einsum("ij,ij->i", *pair) for pair in ((along, along), (along, beside), (beside, beside))]
        self._table = np.column_stack([a, along, beside, *products])
        middles = (a + b + c) / 3
        out = (a - middles, b - middles, c - middles)
        reach = np.sqrt(np.max([np.einsum("ij,ij->i", each, each) for each in out], axis=0))
        self._discs = np.column_stack([middles, triangle_normals(mesh), reach])
        self.count = len(reach)
        self._slack = 1e-12 * float(np.abs(mesh.vertices).max()) ** 2  # what rounding can add

    def nearest_possible(self, points: NDArray[np.float64], triangles: NDArray[np.int32]) -> NDArray[np.float64]:
        """(n,) squared distance of each point to the disc round the triangle paired with it: none of it is nearer."""
        disc = self._discs.take(triangles, axis=0)
        away = points - disc[:, :3]
        height = np.einsum("ij,ij->i", away, disc[:, 3:6])
        aside = np.sqrt(np.maximum(np.einsum("ij,ij->i", away, away) - height**2, 0.0)) - disc[:, 6]
        least: NDArray[np.float64] = height**2 + np.maximum(aside, 0.0) ** 2
        return least - self._slack

    def closest(
        self, points: NDArray[np.float64], triangles: NDArray[np.int32]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """(n,) squared distance and (n, 3) closest place of each point on the triangle paired with it.

        Notes
        -----
        The regions of a triangle's plane as in Ericson, Real-Time Collision Detection (2005), section 5.1.5.
        """
        found = self._table.take(triangles, axis=0)
        corner, along, beside = found[:, 0:3], found[:, 3:6], found[:, 6:9]
        offset = points - corner
        d1, d2 = np.einsum("ij,ij->i", along, offset), np.einsum("ij,ij->i", beside, offset)
        v, w = _shares(d1, d2, found[:, 9], found[:, 10], found[:, 11])
        foot = v[:, None] * along + w[:, None] * beside
        away: NDArray[np.float64] = offset - foot
        squared: NDArray[np.float64] = np.einsum("ij,ij->i", away, away)
        return squared, corner + foot


def _shares(
    d1: NDArray[np.float64],
    d2: NDArray[np.float64],
    aa: NDArray[np.float64],
    ab: NDArray[np.float64],
    bb: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
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
    d1: NDArray[np.float64],
    d2: NDArray[np.float64],
    d3: NDArray[np.float64],
    d4: NDArray[np.float64],
    aa: NDArray[np.float64],
    ab: NDArray[np.float64],
    bb: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
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
