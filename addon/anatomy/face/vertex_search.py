"""The vertex: the highest point of a head that is held straight."""

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from ...geometry.mesh import Mesh
from ...geometry.transforms import rotation
from ...geometry.views.depth_map import DepthMap, depth_map

_PIXEL = 1.5
_TILT = np.radians(3.0)
_STEADY, _WANDERING = 3.0, 10.0
_BUMP, _STANDS_OUT = 8.0, 1.5  # mm: half the breadth of what is a bump on a crown, and how far it stands out


def find_vertex(posed: Mesh, size: float) -> tuple[NDArray[np.float64], float] | None:
    """The highest point and how far it can be trusted.

    Parameters
    ----------
    posed : Mesh in its posed frame
    size : the face against a mean adult's

    Returns
    -------
    (3,) position and confidence, or None where no crown was seen. The confidence falls with how far the highest point
    wanders when the head is held 3 degrees wrong, and with holes about it.
    """
    seen = _from_above(posed, size)
    if not seen.seen.any():
        return None
    rows, columns = ndimage.distance_transform_edt(~seen.seen, return_distances=False, return_indices=True)
    height = _without_bumps(seen.depths[rows, columns], size)
    height = np.where(seen.seen, height, -np.inf)
    y, x = np.meshgrid(seen.up, seen.across, indexing="ij")
    surface = np.column_stack([x.ravel(), -y.ravel(), height.ravel()])[np.isfinite(height.ravel())]
    place = surface[np.argmax(surface[:, 2])]
    away = np.hypot(x - place[0], -y - place[1])
    whole = float(seen.seen[away < 25.0 * size].mean())
    if place[2] < 60.0 * size or whole < 0.8:
        return None
    tilts = [rotation(axis, angle) for axis in ((1, 0, 0), (0, 1, 0)) for angle in (-_TILT, _TILT)]
    tops = [surface[np.argmax(surface @ tilt[2])] for tilt in tilts]
    wander = float(np.mean([np.linalg.norm(top - place) for top in tops]))
    steady = float(np.clip((_WANDERING - wander) / (_WANDERING - _STEADY), 0.0, 1.0))
    return place, 0.3 + 0.5 * steady * float(np.clip((whole - 0.8) / 0.15, 0, 1))


def _without_bumps(height: NDArray[np.float64], size: float) -> NDArray[np.float64]:
    """The crown without spikes, hair tips and strays that hang on it: a steady top, but not the head's."""
    height = ndimage.median_filter(height, size=5)
    reach = round(_BUMP * size / _PIXEL)
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    opened = ndimage.grey_opening(height, footprint=x**2 + y**2 <= reach**2)
    return np.where(height - opened > _STANDS_OUT * size, opened, height)


def _from_above(posed: Mesh, size: float) -> DepthMap:
    places = posed.vertices * [1.0, -1.0, 1.0]
    low, high = (-70.0 * size, -90.0 * size), (70.0 * size, 95.0 * size)
    near = (places[:, 2] > 55.0 * size) & (places[:, :2] > np.subtract(low, 6)).all(axis=1)
    near &= (places[:, :2] < np.add(high, 6)).all(axis=1)
    return depth_map(places, posed.triangles[near[posed.triangles].all(axis=1)], low, high, _PIXEL)
