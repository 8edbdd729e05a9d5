"""The tragion, told from the hollow of the ear behind it."""

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from ...geometry.mesh import Mesh
from ...geometry.views.depth_map import DepthMap, depth_map

_PIXEL = 0.8
_LOW, _HIGH = (-58.0, -48.0), (32.0, 48.0)
_NEAR = ((-34.0, 6.0), (-26.0, 20.0))
"""Where the deepest place of the concha may lie before and above the mean tragion, mm."""

_BRIDGED = 9.0
"""Radius of the disc that cannot enter the concha, mm: concha some 17 broad (from memory)."""


_TRAGUS = 2.5
"""From the concha's front rim to the middle of the tragus, mm (from memory)."""


def find_tragion(posed: Mesh, side: float, size: float) -> tuple[NDArray[np.float64], float] | None:
    """The tragion of one side and the depth of the hollow behind it, mm.

    Parameters
    ----------
    posed : Mesh in the posed frame of a mean adult
    side : +1 for the sitter's left, -1 for the right
    size : the face against a mean adult's

    Returns
    -------
    (3,) position and depth of the concha, or None where there is no ear to be seen.

    Notes
    -----
    The tragus closes the concha to the front; its upper end is taken just before the front rim of the hollow, at two
    thirds of the hollow's height.
    """
    seen = _from_the_side(posed, side, size)
    hollow = _hollow(seen, size)
    forward, up = np.meshgrid(seen.across / size, seen.up / size)
    near = (forward > _NEAR[0][0]) & (forward < _NEAR[0][1]) & (up > _NEAR[1][0]) & (up < _NEAR[1][1])
    inside = np.where(near, hollow, 0.0)
    deepest = float(inside.max())
    if deepest < 2.0 * size:
        return None
    labels, _ = ndimage.label(hollow > 0.45 * deepest)
    concha = labels == labels[np.unravel_index(int(np.argmax(inside)), inside.shape)]
    rows = np.flatnonzero(concha.any(axis=1))
    row = int(rows[round(0.66 * (len(rows) - 1))])
    band = concha[max(0, row - 2) : row + 3].any(axis=0)
    column = min(int(np.flatnonzero(band).max()) + round(_TRAGUS * size / _PIXEL), concha.shape[1] - 1)
    depth = seen.depths[row, column]
    if not np.isfinite(depth):
        return None
    return np.array([side * depth, -seen.across[column], seen.up[row]]), deepest


def _from_the_side(posed: Mesh, side: float, size: float) -> DepthMap:
    low, high = (_LOW[0] * size, _LOW[1] * size), (_HIGH[0] * size, _HIGH[1] * size)
    places = posed.vertices[:, [1, 2, 0]] * [-1.0, 1.0, side]
    near = (places[:, 2] > 25.0 * size) & (places[:, :2] > np.subtract(low, 6)).all(axis=1)
    near &= (places[:, :2] < np.add(high, 6)).all(axis=1)
    return depth_map(places, posed.triangles[near[posed.triangles].all(axis=1)], low, high, _PIXEL)


def _hollow(seen: DepthMap, size: float) -> NDArray[np.float64]:
    """How far the surface lies under a disc laid over it, mm; 0 beside what was not seen."""
    known = seen.seen
    if not known.any():
        return np.zeros(known.shape)
    rows, columns = ndimage.distance_transform_edt(~known, return_distances=False, return_indices=True)
    depth = ndimage.gaussian_filter(seen.depths[rows, columns], 0.8 / _PIXEL)
    reach = int(np.ceil(_BRIDGED * size / _PIXEL))
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    disc = x**2 + y**2 <= (_BRIDGED * size / _PIXEL) ** 2
    bridged = ndimage.grey_closing(depth, footprint=disc, mode="nearest")
    return np.where(ndimage.binary_erosion(known, iterations=2), bridged - depth, 0.0)
