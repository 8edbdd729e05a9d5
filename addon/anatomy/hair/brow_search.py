"""A brow found on the scan: as a band darker than the skin round it, or as one that stands off it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from ...geometry.views.unrolled import Unrolled, blurred
from .brow_guides import BrowGuide

_CORE, _REACH = 4.0, 10.0
"""Millimetres from the expected middle line within which a brow surely has some of its hair, and all of it."""
_SURELY = 4.0  # times the spread of bare skin by which a brow must differ from it
_DARKER = 8.0  # and grey levels of 255, since a smooth skin has hardly a spread
_RAISED = 0.04  # mm, likewise
_LEAST_LENGTH, _BREADTHS = 0.55, (2.0, 16.0)
"""Share of the expected length a band must have, and how broad it may be, mm: common practice, no source."""
_ENDS = 2.5  # mm over which an edge is smoothed along the brow


@dataclass(frozen=True, eq=False)
class Band:
    """What was looked at: (rows, columns) `signal` over an unrolled patch, zero on skin, and the least that counts."""

    signal: NDArray[np.float64]
    least: float


def darkness(patch: Unrolled, lightness: NDArray[np.float64]) -> Band:
    """How much darker each pixel is than the skin round it, grey levels.

    Parameters
    ----------
    patch : the unrolled part of the face
    lightness : (rows, columns) from 0 to 255, NaN where nothing was seen
    """
    pixel = patch.outward.pixel
    fine = blurred(lightness, 0.5 / pixel)
    filled = np.where(np.isfinite(fine), fine, np.nanmedian(fine))
    skin = ndimage.percentile_filter(filled[::2, ::2], 70, size=round(14.0 / pixel))  # 28 mm, every other pixel
    skin = ndimage.zoom(skin, 2, order=0)[: fine.shape[0], : fine.shape[1]]
    return Band(np.nan_to_num(skin - fine), _DARKER)


def raised(patch: Unrolled) -> Band:
    """How far each pixel stands off the smoothed skin, millimetres: the hair of a brow, not the bone under it.

    Notes
    -----
    Smoothed by little more than a lock's breadth: the edge of the orbit is rounder than that and falls out.
    """
    pixel, surface = patch.outward.pixel, patch.outward.depths
    off = blurred(surface, 0.3 / pixel) - blurred(surface, 1.2 / pixel)
    return Band(np.nan_to_num(blurred(off, 0.35 / pixel)), _RAISED)


def found(patch: Unrolled, band: Band, expected: BrowGuide, source: str) -> BrowGuide | None:
    """The brow as a band of strong signal near where one is expected, or None where there is no such band.

    Parameters
    ----------
    patch : the unrolled part of the face
    band : of that patch
    expected : what the landmarks propose
    source : what the guide is to say it came from
    """
    away, length = _from_line(patch, (expected.upper + expected.lower) / 2)
    core, near = away < _CORE, away < _REACH
    seen = patch.outward.seen
    bare = band.signal[seen & ~near]
    if not (core & seen).any() or not len(bare):
        return None
    middle = float(np.median(bare))
    spread = 1.4826 * float(np.median(np.abs(bare - middle)))
    strong = float(np.percentile(band.signal[core & seen], 75)) - middle
    if strong < max(_SURELY * spread, band.least):
        return None
    mask = ndimage.binary_closing((band.signal > middle + strong / 2) & near, iterations=_pixels(patch, 0.3))
    mask = ndimage.binary_opening(mask, iterations=_pixels(patch, 0.4))
    labels, count = ndimage.label(mask)
    if not count:
        return None
    inside = np.bincount(labels[core], minlength=count + 1)
    inside[0] = 0
    return _edged(patch, labels == int(inside.argmax()), expected, length, source)


def _edged(
    patch: Unrolled, mask: NDArray[np.bool_], expected: BrowGuide, length: float, source: str
) -> BrowGuide | None:
    """The mask's edges as a guide, or None where it is too short or too broad for a brow."""
    columns = np.flatnonzero(mask.sum(axis=0) >= 2)
    if len(columns) < 3:
        return None
    rows, pixel, depth = np.arange(mask.shape[0])[:, None], patch.outward.pixel, patch.outward
    top = np.where(mask, rows, -1).max(axis=0)
    # what hangs under the brow with skin between is the fold of the lid
    gap = np.where(~mask & (rows < top), rows, -1).max(axis=0)
    high, low = top[columns].astype(np.float64), gap[columns] + 1.0
    breadth = float(np.median(high - low)) * pixel
    low = np.maximum(low, high - 1.3 * breadth / pixel)
    if np.ptp(columns) * pixel < _LEAST_LENGTH * length or not _BREADTHS[0] < breadth < _BREADTHS[1]:
        return None
    low, high = (ndimage.gaussian_filter1d(edge, _ENDS / pixel, mode="nearest") for edge in (low, high))
    across = depth.across[columns]
    head, tail = patch.flat(np.stack([expected.upper[0], expected.upper[-1]]))[:, 0]
    order = slice(None) if tail > head else slice(None, None, -1)
    step = max(1, len(columns) // 40)
    flat = (np.stack([across, depth.low[1] + pixel * edge], axis=1)[order][::step] for edge in (high, low))
    lines = [patch.places(each) for each in flat]
    kept = np.isfinite(lines[0]).all(axis=1) & np.isfinite(lines[1]).all(axis=1)
    return BrowGuide(lines[0][kept], lines[1][kept], source) if kept.sum() >= 3 else None


def _from_line(patch: Unrolled, line: NDArray[np.float64]) -> tuple[NDArray[np.float64], float]:
    """(rows, columns) distance of each pixel from a line drawn on the patch, and the line's length, millimetres."""
    flat = patch.flat(line)
    length = float(np.linalg.norm(np.diff(flat, axis=0), axis=1).sum())
    at = np.linspace(0, len(flat) - 1, 400)
    dense = np.stack([np.interp(at, np.arange(len(flat)), column) for column in flat.T], axis=1)
    depth = patch.outward
    column = np.rint((dense[:, 0] - depth.low[0]) / depth.pixel).astype(np.int64)
    row = np.rint((dense[:, 1] - depth.low[1]) / depth.pixel).astype(np.int64)
    rows, columns = depth.depths.shape
    inside = (row >= 0) & (row < rows) & (column >= 0) & (column < columns)
    drawn = np.ones(depth.depths.shape, bool)
    drawn[row[inside], column[inside]] = False
    return ndimage.distance_transform_edt(drawn) * depth.pixel, length


def _pixels(patch: Unrolled, length: float) -> int:
    return max(1, round(length / patch.outward.pixel))
