"""How far shapes keep their form when a mesh is moved: lengths of edges, and each face's own stretch."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..mesh import Mesh


@dataclass(frozen=True)
class Distortion:
    """Shares, 0.01 being 1 %, over what is longer than rounding.

    `middle` is the median change of an edge's length, with its sign; `most` the change 95 % of the edges stay within;
    `shear` how much longer than wide 95 % of the faces become at most; `worst` the largest change of an edge.
    """

    middle: float
    most: float
    shear: float
    worst: float


def distortion(
    before: NDArray[np.float64],
    after: NDArray[np.float64],
    triangles: NDArray[np.int32],
    some: NDArray[np.bool_] | None = None,
) -> Distortion:
    """The change of form between two sets of places of the same vertices.

    Parameters
    ----------
    before, after : (n, 3) places; an even scale is distortion too, so take it out first where it is meant
    triangles : (m, 3) rows of them
    some : (n,) vertices that count; None for all

    Notes
    -----
    A face's stretch is the two singular values of the linear map between its planes before and after; shear is their
    ratio less 1. Weighted by nothing: every edge and face counts once.
    """
    if some is not None:
        triangles = triangles[some[triangles].all(axis=1)]
    if not len(triangles):
        return Distortion(0.0, 0.0, 0.0, 0.0)
    ends = np.unique(np.sort(triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1), axis=0)
    old = np.linalg.norm(before[ends[:, 0]] - before[ends[:, 1]], axis=1)
    new = np.linalg.norm(after[ends[:, 0]] - after[ends[:, 1]], axis=1)
    sound = old > 1e-3 * np.median(old)
    change = new[sound] / old[sound] - 1.0
    long, wide = _stretches(Mesh(before, triangles).corners, Mesh(after, triangles).corners)
    flat = wide > 0
    shear = float(np.quantile(long[flat] / wide[flat], 0.95)) - 1.0 if flat.any() else 0.0
    return Distortion(
        float(np.median(change)), float(np.quantile(np.abs(change), 0.95)), shear, float(np.abs(change).max())
    )


def _stretches(
    before: NDArray[np.float64], after: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Larger and smaller stretch of each triangle, (m, 3, 3) corners to (m,) each; 0 for one without area."""
    first, second = before[:, 1] - before[:, 0], before[:, 2] - before[:, 0]
    length = np.linalg.norm(first, axis=1)
    along = first / np.maximum(length, 1e-300)[:, None]
    x = np.einsum("ij,ij->i", second, along)
    y = np.linalg.norm(second - x[:, None] * along, axis=1)
    sound = (length > 0) & (y > 1e-3 * length)
    length, y = np.where(sound, length, 1.0), np.where(sound, y, 1.0)
    one = (after[:, 1] - after[:, 0]) / length[:, None]
    other = (after[:, 2] - after[:, 0] - x[:, None] * one) / y[:, None]
    aa, ab, bb = (np.einsum("ij,ij->i", *pair) for pair in ((one, one), (one, other), (other, other)))
    root = np.sqrt(((aa - bb) / 2) ** 2 + ab**2)
    long = np.sqrt((aa + bb) / 2 + root)
    wide = np.sqrt(np.maximum((aa + bb) / 2 - root, 0.0))
    return np.where(sound, long, 0.0), np.where(sound, wide, 0.0)
