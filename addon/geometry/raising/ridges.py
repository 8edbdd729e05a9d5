"""Ridges laid on a surface along lines: how high each vertex stands under them."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from ..directions import unit

_SPACING = 0.12  # mm between the places a line is looked at
_MOST = 64  # places of ridges looked at round a vertex
_AT_ONCE = 20_000


@dataclass(frozen=True, eq=False)
class Ridge:
    """A line on the surface: (k, 3) `places`, and at each its (k,) `half_width` and `height`, millimetres."""

    places: NDArray[np.float64]
    half_width: NDArray[np.float64]
    height: NDArray[np.float64]


def raised(vertices: NDArray[np.float64], normals: NDArray[np.float64], ridges: Sequence[Ridge]) -> NDArray[np.float64]:
    """(n,) height of the ridges over each vertex; 0 where there is none.

    Parameters
    ----------
    vertices, normals : (n, 3) arrays; normals of unit length
    ridges : lines close to the surface

    Notes
    -----
    Across a ridge the height falls as 1 - (distance / half width)^2, the distance taken in the surface. Where ridges
    meet, the higher counts: so a groove runs between two that lie side by side.
    """
    if not ridges:
        return np.zeros(len(vertices))
    places, ways, half, height = (np.concatenate(parts) for parts in zip(*map(_dense, ridges), strict=True))
    tree, reach, found = cKDTree(places), 1.2 * float(half.max()), np.zeros(len(vertices))
    near, _ = tree.query(vertices, distance_upper_bound=reach, workers=-1)
    under = np.flatnonzero(np.isfinite(near))
    for rows in np.array_split(under, max(1, len(under) // _AT_ONCE)):
        _, which = tree.query(vertices[rows], k=[*range(1, _MOST + 1)], distance_upper_bound=reach, workers=-1)
        there = which < len(places)
        which = np.where(there, which, 0)
        off = vertices[rows, None] - places[which]
        off -= np.einsum("nki,ni->nk", off, normals[rows])[..., None] * normals[rows, None]
        beside = np.clip(np.einsum("nki,nki->nk", off, ways[which]), -_SPACING / 2, _SPACING / 2)
        away = np.linalg.norm(off - beside[..., None] * ways[which], axis=2) / half[which]
        found[rows] = np.where(there, height[which] * np.clip(1 - away**2, 0, None), 0.0).max(axis=1)
    return found


def _dense(
    ridge: Ridge,
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """A ridge at close places: where, unit vector along, half width, height."""
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(ridge.places, axis=0), axis=1))])
    steps = np.linspace(0.0, along[-1], max(2, int(np.ceil(along[-1] / _SPACING)) + 1))
    places = np.stack([np.interp(steps, along, column) for column in ridge.places.T], axis=1)
    ways = unit(np.gradient(places, axis=0))
    return places, ways, np.interp(steps, along, ridge.half_width), np.interp(steps, along, ridge.height)
