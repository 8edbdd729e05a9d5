"""Lines on a depth map: where the surface is folded inward and where it stands out."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from .depth_map import DepthMap


@dataclass(frozen=True, eq=False)
class Relief:
    """Two pictures over a depth map's pixels, 1/mm, zero where nothing near was seen.

    `valley` is the strongest inward bend at each pixel, `ridge` the strongest outward one, neither below zero.
    """

    valley: NDArray[np.float64]
    ridge: NDArray[np.float64]


def relief(depth: DepthMap, spread: float) -> Relief:
    """Valleys and ridges of a surface, seen at one fineness.

    Parameters
    ----------
    depth : DepthMap
    spread : standard deviation of the smoothing, in the unit of the pixels

    Returns
    -------
    Relief: eigenvalues of the second derivatives of the smoothed depth, lessened on slopes as curvature is.
    """
    seen = depth.seen
    if not seen.any():
        return Relief(np.zeros(seen.shape), np.zeros(seen.shape))
    rows, columns = ndimage.distance_transform_edt(~seen, return_distances=False, return_indices=True)
    filled = depth.depths[rows, columns]
    sigma = spread / depth.pixel

    def derivative(up: int, across: int) -> NDArray[np.float64]:
        smoothed = ndimage.gaussian_filter(filled, sigma, order=(up, across), mode="nearest")
        return np.asarray(smoothed, dtype=np.float64) / depth.pixel ** (up + across)

    flatness = 1.0 / (1.0 + derivative(1, 0) ** 2 + derivative(0, 1) ** 2)
    upward, mixed, sideways = derivative(2, 0), derivative(1, 1), derivative(0, 2)
    mean = (upward + sideways) / 2
    spread_of_two = np.hypot((upward - sideways) / 2, mixed)
    near = ndimage.binary_erosion(seen, iterations=max(1, round(1.5 * sigma)))
    valley = np.where(near, flatness * (mean + spread_of_two), 0.0).clip(0, None)
    ridge = np.where(near, flatness * (spread_of_two - mean), 0.0).clip(0, None)
    return Relief(valley, ridge)
