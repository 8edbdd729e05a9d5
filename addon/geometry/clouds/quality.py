"""How much a capture resolves: spacing, noise, coverage, and the smallest fold that would survive."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..neighbours import BY_THE_EIGHTH, Arranged, arranged
from .thinning import thinned


@dataclass(frozen=True, eq=False)
class Region:
    """What one part of a capture resolves: `place` (3,) its middle, `share` of the surface, medians in millimetres."""

    place: NDArray[np.float64]
    share: float
    spacing: float
    noise: float
    fold: float


@dataclass(frozen=True, eq=False)
class Quality:
    """What a capture resolves, millimetres; each also at the coarse tenth of the surface (`worst_`).

    `spacing` is the side of the square a point has to itself; `noise` the deviation of points from the quadric through
    their neighbours; `fold` the smallest fold that two points in each flank and noise six times over would leave.
    `dropouts` is the share of the surface's cells with an edge that is no rim of the whole, 0 to 1. `regions` are the
    octants about the capture's middle, along its own axes: what is face is not known yet.
    """

    spacing: float
    worst_spacing: float
    noise: float
    worst_noise: float
    fold: float
    worst_fold: float
    dropouts: float
    regions: tuple[Region, ...]


def quality_of(points: NDArray[np.float64], normals: NDArray[np.float64] | None = None, samples: int = 4000) -> Quality:
    """Measure a capture at places spread evenly over its surface.

    Parameters
    ----------
    points : (n, 3) float array, millimetres, strays removed
    normals : (n, 3) where they are known: neighbours that face the other way, as of a shell's other wall, are left out
    samples : places looked at

    Notes
    -----
    Residuals to a quadric in the frame of the local plane, so that round parts do not count as noise. The fold is
    hypot(2 spacing, 6 noise): two samples a flank, and a depth three deviations clear either way (common practice, no
    source).
    """
    held = arranged(points)
    facing = None if normals is None else normals[held.rows]
    some = np.arange(0, len(held.points), max(1, len(held.points) // samples))
    cells = thinned(held.points, 4 * float(np.median(_spacing(held, facing, some))))
    chosen = cells.order[cells.starts[:: max(1, len(cells.starts) // samples)]]
    spacing = _spacing(held, facing, chosen)
    noise, lean = _residuals(held, facing, chosen)
    fold = np.hypot(2 * spacing, 6 * noise)
    tenth = [float(np.percentile(each, 90)) for each in (spacing, noise, fold)]
    usual = [float(np.median(each)) for each in (spacing, noise, fold)]
    regions = _by_octant(held.points[chosen], spacing, noise, fold)
    return Quality(usual[0], tenth[0], usual[1], tenth[1], usual[2], tenth[2], float((lean > 0.35).mean()), regions)


def _by_octant(
    places: NDArray[np.float64], spacing: NDArray[np.float64], noise: NDArray[np.float64], fold: NDArray[np.float64]
) -> tuple[Region, ...]:
    """Medians over the places in each octant about the middle; octants with few places are left out."""
    middle = (places.min(axis=0) + places.max(axis=0)) / 2
    octant = (places > middle) @ np.array([1, 2, 4])
    found = []
    for number in range(8):
        here = octant == number
        if np.count_nonzero(here) >= _FEWEST:
            medians = (float(np.median(each[here])) for each in (spacing, noise, fold))
            found.append(Region(places[here].mean(axis=0), float(here.mean()), *medians))
    return tuple(found)


_FEWEST = 20
"""Places from which a median is told."""


def _nearest(
    held: Arranged, facing: NDArray[np.float64] | None, chosen: NDArray[np.int64], count: int
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """(m, count) distances and rows of the nearest points, each itself first; what faces the other way comes last."""
    looked_at = min(count if facing is None else 2 * count, len(held.points))
    distances, rows = held.tree.query(held.points[chosen], looked_at, workers=-1)
    if facing is not None:
        against = np.einsum("mi,mki->mk", facing[chosen], facing[rows]) < 0
        order = np.argsort(against, axis=1, kind="stable")[:, :count]
        distances, rows = np.take_along_axis(distances, order, 1), np.take_along_axis(rows, order, 1)
    return distances, rows


def _spacing(held: Arranged, facing: NDArray[np.float64] | None, chosen: NDArray[np.int64]) -> NDArray[np.float64]:
    """The side of the square each chosen point has to itself."""
    side: NDArray[np.float64] = _nearest(held, facing, chosen, 9)[0][:, -1] * BY_THE_EIGHTH
    return side


def _residuals(
    held: Arranged, facing: NDArray[np.float64] | None, chosen: NDArray[np.int64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Deviation from the quadric through each chosen point's neighbours, and how far those lie to one side."""
    distances, rows = _nearest(held, facing, chosen, 28)
    count = rows.shape[1]
    reach = distances.max(axis=1)
    way = held.points[rows] - held.points[chosen, None]
    second = np.einsum("mki,mkj->mij", way - way.mean(axis=1, keepdims=True), way - way.mean(axis=1, keepdims=True))
    _, axes = np.linalg.eigh(second)
    x, y, z = (np.einsum("mki,mi->mk", way, axes[:, :, axis]) for axis in (2, 1, 0))
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=2)
    square = np.einsum("mki,mkj->mij", terms, terms) + 1e-12 * np.eye(6)
    fit = np.linalg.solve(square, np.einsum("mki,mk->mi", terms, z)[..., None])[..., 0]
    left = z - np.einsum("mki,mi->mk", terms, fit)
    aside = np.hypot(x.mean(axis=1), y.mean(axis=1)) / reach
    return np.sqrt((left**2).sum(axis=1) / (count - 6)), aside
