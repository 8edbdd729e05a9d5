"""How much a capture resolves: spacing, noise, coverage, and the smallest fold that would survive."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..neighbours import Arranged, arranged
from .thinning import thinned


@dataclass(frozen=True, eq=False)
class Quality:
    """What a capture resolves, millimetres; each also at the coarse tenth of the surface (`worst_`).

    `spacing` is the side of the square a point has to itself; `noise` the deviation of points from the quadric through
    their neighbours; `fold` the smallest fold that two points in each flank and noise six times over would leave.
    `dropouts` is the share of the surface's cells with an edge that is no rim of the whole, 0 to 1.
    """

    spacing: float
    worst_spacing: float
    noise: float
    worst_noise: float
    fold: float
    worst_fold: float
    dropouts: float


def quality_of(points: NDArray[np.float64], samples: int = 4000) -> Quality:
    """Measure a capture at places spread evenly over its surface.

    Parameters
    ----------
    points : (n, 3) float array, millimetres, strays removed
    samples : places looked at

    Notes
    -----
    Residuals to a quadric in the frame of the local plane, so that round parts do not count as noise. The fold is
    hypot(2 spacing, 6 noise): two samples a flank, and a depth three deviations clear either way (common practice, no
    source).
    """
    held = arranged(points)
    size = 4 * _spacing(held, np.arange(0, len(held.points), max(1, len(held.points) // samples)))
    cells = thinned(held.points, float(np.median(size)))
    chosen = cells.order[cells.starts[:: max(1, len(cells.starts) // samples)]]
    spacing = _spacing(held, chosen)
    noise, lean = _residuals(held, chosen)
    fold = np.hypot(2 * spacing, 6 * noise)
    tenth = [float(np.percentile(each, 90)) for each in (spacing, noise, fold)]
    usual = [float(np.median(each)) for each in (spacing, noise, fold)]
    return Quality(usual[0], tenth[0], usual[1], tenth[1], usual[2], tenth[2], float((lean > 0.35).mean()))


def _spacing(held: Arranged, chosen: NDArray[np.int64]) -> NDArray[np.float64]:
    """The side of the square each chosen point has to itself."""
    distances, _ = held.tree.query(held.points[chosen], 9, workers=-1)
    side: NDArray[np.float64] = distances[:, -1] * np.sqrt(np.pi / 8.5)
    return side


def _residuals(held: Arranged, chosen: NDArray[np.int64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Deviation from the quadric through each chosen point's neighbours, and how far those lie to one side."""
    count = 28
    distances, rows = held.tree.query(held.points[chosen], count, workers=-1)
    way = held.points[rows] - held.points[chosen, None]
    second = np.einsum("mki,mkj->mij", way - way.mean(axis=1, keepdims=True), way - way.mean(axis=1, keepdims=True))
    _, axes = np.linalg.eigh(second)
    x, y, z = (np.einsum("mki,mi->mk", way, axes[:, :, axis]) for axis in (2, 1, 0))
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=2)
    square = np.einsum("mki,mkj->mij", terms, terms) + 1e-12 * np.eye(6)
    fit = np.linalg.solve(square, np.einsum("mki,mk->mi", terms, z)[..., None])[..., 0]
    left = z - np.einsum("mki,mi->mk", terms, fit)
    aside = np.hypot(x.mean(axis=1), y.mean(axis=1)) / distances[:, -1]
    return np.sqrt((left**2).sum(axis=1) / (count - 6)), aside
