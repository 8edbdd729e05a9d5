"""Two sheets laid through the points about a place: how far apart they lie, and whether they may be two."""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from ..clouds.normals import least_axis
from ..directions import unit
from ..robust import BY_THE_MEDIAN


class Sheets(NamedTuple):
    """What was found at m places, of k points each; millimetres.

    `normals` (m, 3); `rows` (m, k) the points looked at and `upper` (m, k) which lie in the upper sheet; `gap` (m,)
    from the lower to the upper, signed along the normal; `lean` (m, 3) the way the upper sheet's points lie aside of
    the lower one's, in radii of the place; `scatter` (m,) deviation within both sheets, `single` (m,) over one; `fair`
    (m,) whether both sheets hold points all over the place, few between them, and the gap is as wide on every side.
    """

    normals: NDArray[np.float64]
    rows: NDArray[np.int64]
    upper: NDArray[np.bool_]
    gap: NDArray[np.float64]
    lean: NDArray[np.float64]
    scatter: NDArray[np.float64]
    single: NDArray[np.float64]
    fair: NDArray[np.bool_]


def together(parts: Sequence[Sheets]) -> Sheets:
    """What was found at the places of all parts, in their order."""
    return Sheets(*(np.concatenate(each) for each in zip(*parts, strict=True)))


def two_sheets(
    points: NDArray[np.float64], tree: cKDTree, places: NDArray[np.float64], count: int, widest: float
) -> Sheets:
    """Two sheets of one form laid through the points about each place, and whether they may be two.

    Parameters
    ----------
    points : (n, 3) float array, millimetres
    tree : of these points
    places : (m, 3) float array, millimetres
    count : points looked at about each
    widest : the widest gap that is fair, millimetres

    Notes
    -----
    Through the points goes one quadric, taken twice at a gap: least squares, each point in the sheet that is nearer, in
    turn until none changes.
    """
    distances, rows = tree.query(places, count)
    way = points.take(rows, axis=0) - places[:, None]
    middle = way.mean(axis=1, keepdims=True)
    second = np.einsum("mki,mkj->mij", way - middle, way - middle)
    normal, _ = least_axis(second)
    first = unit(np.cross(normal, np.eye(3)[np.abs(normal).argmin(axis=1)]))
    across = np.cross(normal, first)
    radius = distances[:, -1:]
    x, y, z = (np.einsum("mki,mi->mk", way, axis) for axis in (first, across, normal))
    x, y = x / radius, y / radius
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=2)
    left, weight = _one_sheet(terms, z)
    single = BY_THE_MEDIAN * np.median(np.abs(left), axis=1)
    upper = _split(left)
    for _ in range(8):
        full = np.concatenate([terms, upper[:, :, None].astype(float)], axis=2)
        fit = _least_squares(full, z, weight)
        base = z - np.einsum("mki,mi->mk", terms, fit[:, :6])
        gap = fit[:, 6:]
        away = np.where(upper, base - gap, base)
        scatter = BY_THE_MEDIAN * np.median(np.abs(away), axis=1)
        nearest = np.minimum(np.abs(base), np.abs(base - gap))
        weight = 1 / (1 + (nearest / np.maximum(2 * scatter[:, None], 1e-9)) ** 2)
        fresh = np.abs(base - gap) < np.abs(base)
        if (fresh == upper).all():
            break
        upper = fresh
    share = upper.mean(axis=1)
    middle_third = np.abs(base - gap / 2) < np.abs(gap) / 6
    flat = np.stack([x, y], axis=2)
    heavy = np.maximum(upper.sum(axis=1), 1)[:, None]
    light = np.maximum((~upper).sum(axis=1), 1)[:, None]
    aside = np.einsum("mk,mki->mi", upper.astype(float), flat) / heavy
    aside -= np.einsum("mk,mki->mi", (~upper).astype(float), flat) / light
    slope = np.linalg.norm(_slope(terms, upper, z, weight), axis=1) / radius[:, 0]
    fair = (
        (np.minimum(share, 1 - share) * count >= max(4.5, 0.1 * count))
        & (np.abs(gap[:, 0]) < widest)
        & (middle_third.mean(axis=1) < _BETWEEN)
        & (np.linalg.norm(aside, axis=1) < _ASIDE)
        & (slope < _SLOPE + 0.3 * single / radius[:, 0])
        & ((nearest > 3 * scatter[:, None]).mean(axis=1) < 0.15)
    )
    lean = aside[:, :1] * first + aside[:, 1:] * across
    return Sheets(normal, rows, upper, gap[:, 0], lean, scatter, single, fair)


_BETWEEN = 0.16  # share of the points that may lie in the middle third of the gap
_SLOPE = 0.12  # millimetres by which the gap may change in a millimetre
_ASIDE = 0.75  # radii by which the middles of both sheets' points may lie apart


def _one_sheet(terms: NDArray[np.float64], z: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Heights over one quadric laid through most of each place's points, and the weights it was laid with."""
    weight = np.ones_like(z)
    for _ in range(4):
        left = z - np.einsum("mki,mi->mk", terms, _least_squares(terms, z, weight))
        usual = BY_THE_MEDIAN * np.median(np.abs(left), axis=1)[:, None]
        weight = 1 / (1 + (left / np.maximum(2 * usual, 1e-9)) ** 2)
    return left, weight


def _least_squares(
    terms: NDArray[np.float64], wanted: NDArray[np.float64], weight: NDArray[np.float64]
) -> NDArray[np.float64]:
    """(m, p) weighted least squares at each place, hardly damped."""
    heavy = terms * weight[..., None]
    square = heavy.transpose(0, 2, 1) @ terms + 1e-6 * np.eye(terms.shape[2])
    fit: NDArray[np.float64] = np.linalg.solve(square, heavy.transpose(0, 2, 1) @ wanted[..., None])[..., 0]
    return fit


def _split(left: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Heights parted in two where the parts' means lie farthest apart for their weight (Otsu 1979)."""
    ordered = np.sort(left, axis=1)
    count = left.shape[1]
    below = np.arange(1, count)
    mean_below = np.cumsum(ordered, axis=1)[:, :-1] / below
    mean_above = (ordered.sum(axis=1, keepdims=True) - mean_below * below) / (count - below)
    worth = below * (count - below) * (mean_above - mean_below) ** 2
    few = max(3, count // 12)
    worth[:, : few - 1] = -1
    worth[:, count - few :] = -1
    at = worth.argmax(axis=1)
    bound = 0.5 * (np.take_along_axis(ordered, at[:, None], 1) + np.take_along_axis(ordered, at[:, None] + 1, 1))
    return left > bound


def _slope(
    terms: NDArray[np.float64], upper: NDArray[np.bool_], z: NDArray[np.float64], weight: NDArray[np.float64]
) -> NDArray[np.float64]:
    """(m, 2) how the gap changes across each place, over a radius."""
    mark = upper[:, :, None].astype(float)
    fit = _least_squares(np.concatenate([terms, mark, mark * terms[:, :, 1:3]], axis=2), z, weight)
    return fit[:, 7:]
