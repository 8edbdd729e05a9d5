"""Normals behind a thin part, seen by few points: of their own sheet, not of the dense one across from it."""

from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..neighbours import BY_THE_EIGHTH
from .normals import least_axis


def on_own_sheet(
    points: NDArray[np.float64],
    rows: NDArray[np.integer[Any]],
    apart: NDArray[np.floating[Any]],
    normals: NDArray[np.floating[Any]],
    shares: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Normals, but of sparse points beside a dense sheet those of the plane through their own.

    Behind an ear a scanner sees little. Of a point there half the nearest lie on the ear's front, and the plane through
    all of them stands square on the skin, which makes pits where the lobe should be round.

    Parameters
    ----------
    points : (n, 3) float array
    rows, apart : (n, k) neighbours and how far they lie, nearest first, the point itself among them, nine at least
    normals : (n, 3) unit vectors of the planes through each neighbourhood, of either sign
    shares : (n,) least eigenvalue of the neighbourhood over the sum of all three

    Returns
    -------
    (n, 3) float array, signs as they fall

    Notes
    -----
    Planes through the point and two of its nearest are tried as in random sampling (Fischler and Bolles 1981, doi
    10.1145/358669.358692), all pairs of eight. Each neighbour counts by the surface it stands for, so that the dense
    sheet does not outvote the sparse one, and a plane is only taken where it holds half as much again as the old one.
    """
    side = apart[:, 8].astype(np.float64) * BY_THE_EIGHTH
    doubted = np.flatnonzero((shares > _FLAT) & (side > _SPARSE * np.median(side)))
    found = normals.astype(np.float64)
    for start in range(0, len(doubted), _CHUNK):
        some = doubted[start : start + _CHUNK]
        near = rows[some, 1 : _LOOKED_AT + 1]
        way = points[near] - points[some, None]
        far = np.maximum(apart[some, 1 : _LOOKED_AT + 1].astype(np.float64), 1e-12)
        weight = side[near] ** 3 * np.exp(-2 * (far / far[:, -1:]) ** 2)
        planes = _planes(way[:, :_TRIED], far[:, :_TRIED])
        held = _held(planes, way, far, weight)
        best = planes[np.arange(len(some)), held.sum(axis=2).argmax(axis=1)][:, None]
        for _ in range(2):
            inside = _held(best, way, far, weight)[:, 0]
            best = least_axis(np.einsum("mk,mki,mkj->mij", inside, way, way, optimize=True))[0][:, None]
        better = _held(best, way, far, weight).sum(axis=2) > _BETTER * _held(found[some, None], way, far, weight).sum(
            axis=2
        )
        found[some] = np.where(better, best[:, 0], found[some])
    return found


_FLAT = 0.01  # share of the least eigenvalue up to which a neighbourhood is a plane: noise and bends of skin stay under
_SPARSE = 1.25  # median spacings from which points lie wide apart
_CHUNK = 4_000
_LOOKED_AT, _TRIED = 24, 8  # neighbours that count, and those whose pairs make planes
_SLACK = 0.25  # of its distance that a neighbour may lie off the plane
# Of a capture's normals 143 were off by 45 degrees; 60 are left. At 1.15 good ones go at a million points.
_BETTER = 1.5
_PAIRS = np.array(list(combinations(range(_TRIED), 2)))


def _planes(way: NDArray[np.float64], far: NDArray[np.float64]) -> NDArray[np.float64]:
    """(m, p, 3) unit normals of the planes through each point and two of its nearest; 0 where they lie in a line."""
    one, other = _PAIRS.T
    across = np.cross(way[:, one], way[:, other])
    size = np.linalg.norm(across, axis=2)
    wide = size > 0.3 * far[:, one] * far[:, other]
    planes: NDArray[np.float64] = across * np.where(wide, 1 / np.maximum(size, 1e-300), 0.0)[..., None]
    return planes


def _held(
    planes: NDArray[np.float64], way: NDArray[np.float64], far: NDArray[np.float64], weight: NDArray[np.float64]
) -> NDArray[np.float64]:
    """(m, p, k) what each neighbour weighs in each plane: all of it within, nothing far off."""
    off = np.einsum("mpi,mki->mpk", planes, way, optimize=True) / (_SLACK * far)[:, None]
    held: NDArray[np.float64] = weight[:, None] * np.exp(-(off**2)) * planes.any(axis=2)[..., None]
    return held
