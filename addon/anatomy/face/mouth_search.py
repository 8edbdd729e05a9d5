"""The line between the lips on a face seen from the front, and its corners."""

import numpy as np
from numpy.typing import NDArray

from ...geometry.views.depth_map import DepthMap, sampled
from ...geometry.views.relief import Relief

_ALONG = np.linspace(-1.0, 1.0, 61)
_ROUNDS = 8
_TRIED = 2500
_KEPT = 100

# Half breadths to the left and right, height and across of the middle, slope, bow and W-shape of the line, mm for a
# mean adult (mouth 52.0 and 55.9 broad: jkamprs 2019, table 9). Spreads from memory.
_MEAN = np.array([26.0, 26.0, 0.0, 0.0, 0.0, 0.0, 0.0])
_UNEVEN = 3.0
_SPREAD = np.array([4.5, 4.5, 2.5, 1.5, 0.03, 2.5, 1.5])


def find_corners(
    depth: DepthMap, relief: Relief, middle: NDArray[np.float64], size: float
) -> tuple[NDArray[np.float64], NDArray[np.float64], float]:
    """The corners of the mouth.

    Parameters
    ----------
    depth, relief : the face from the front, posed
    middle : (2,) across and up of the stomion
    size : the face against a mean adult's

    Returns
    -------
    (2,) left and right corner, across and up, and how sharply the surface folds along the line, 0 to 1.

    Notes
    -----
    Cross-entropy search, as for the lids: a curve is paid for the length of it that lies in a fold.
    """
    scale = np.array([size, size, size, size, 1.0, size, size])
    mean, spread = _MEAN * scale, _SPREAD * scale
    prior = (mean.copy(), spread.copy())
    at_middle = sampled(relief.valley, depth, middle[0] + np.linspace(-8, 8, 17), np.full(17, middle[1]))
    full = float(np.clip(np.nanmean(np.nan_to_num(at_middle)), 0.08, 0.35))
    rng = np.random.default_rng(0)
    for _ in range(_ROUNDS):
        tried = rng.normal(mean, spread, (_TRIED, len(mean)))
        tried[0] = mean
        tried[:, :2] = tried[:, :2].clip(12.0 * size, 42.0 * size)
        curves = _curves(tried, middle)
        folds = np.nan_to_num(sampled(relief.valley, depth, curves[..., 0], curves[..., 1]))
        # A stretch of line that lies in no fold costs as much as one in a half fold earns.
        paid = ((folds / full).clip(0, 1) - 0.4).mean(axis=1) * (tried[:, 0] + tried[:, 1]) / (2 * 26.0 * size)
        uneven = ((tried[:, 0] - tried[:, 1]) / (_UNEVEN * size)) ** 2
        worth = paid - 0.006 * ((((tried - prior[0]) / prior[1]) ** 2).sum(axis=1) + uneven)
        best = tried[np.argsort(-worth)[:_KEPT]]
        mean, spread = best.mean(axis=0), best.std(axis=0) + 1e-3
    curve = _curves(mean[None], middle)
    folds = np.nan_to_num(sampled(relief.valley, depth, curve[..., 0], curve[..., 1]))
    return curve[0, -1], curve[0, 0], float((folds / 0.2).clip(0, 1).mean())


def _curves(tried: NDArray[np.float64], middle: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n, k, 2) lines from the sitter's right corner to the left one."""
    left, right, up, across, slope, bow, wave = tried.T[:, :, None]
    along = np.where(_ALONG > 0, _ALONG * left, _ALONG * right)
    level = middle[1] + up + slope * along + bow * _ALONG**2 + wave * np.sin(np.pi * np.abs(_ALONG)) ** 2
    return np.stack([middle[0] + across + along, level], axis=2)
