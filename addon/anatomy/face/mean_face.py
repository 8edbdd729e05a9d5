"""The relief of a mean adult face as a formula: coarse, smooth, enough to recognise a face by."""

import numpy as np
from numpy.typing import NDArray

# Distance before the tragia along the midline, nose and lips taken off: (height, forward), mm in the posed frame.
# Laid through the landmarks of `proportions.mean_head`, by eye; the search only needs it to a few millimetres.
_PROFILE = np.array(
    [
        (-100.0, 82.0),
        (-95.0, 90.0),
        (-88.0, 97.0),
        (-74.0, 96.0),
        (-60.0, 97.0),
        (-40.0, 98.0),
        (-20.0, 97.0),
        (0.0, 95.0),
        (24.0, 94.0),
        (38.0, 100.0),
        (55.0, 100.0),
        (75.0, 95.0),
        (95.0, 84.0),
    ]
)
_HALF_BREADTH = np.array([(-100, 50), (-60, 62), (-10, 74), (95, 76)], dtype=np.float64)
_NOSE_HEIGHT = np.array(
    [(-39, 0), (-33, 6), (-27, 17), (-20, 24), (-10, 19), (0, 13), (24, 2), (32, 0)], dtype=np.float64
)
_NOSE_BREADTH = np.array([(-39, 12), (-26, 12), (-10, 8), (24, 6)], dtype=np.float64)
_DEPTH_BEHIND = 20.0


def face_depth(across: NDArray[np.float64], height: NDArray[np.float64]) -> NDArray[np.float64]:
    """How far the mean face lies before the tragia.

    Parameters
    ----------
    across, height : arrays of one shape: x and z of the posed frame, mm; meant for |x| < 65 and -100 < z < 90

    Returns
    -------
    Array of the same shape: -y of the surface.
    """
    side = np.abs(across)
    breadth = np.interp(height, *_HALF_BREADTH.T)
    round_ = np.maximum(1.0 - (side / breadth) ** 2.1, 0.0) ** (1 / 2.1)
    depth = _DEPTH_BEHIND + (np.interp(height, *_PROFILE.T) - _DEPTH_BEHIND) * round_
    depth = depth + np.interp(height, *_NOSE_HEIGHT.T) * _bump(side, 0.0, np.interp(height, *_NOSE_BREADTH.T))
    for peak, x, z, breadth_x, breadth_z in _RELIEF:
        depth = depth + peak * _bump(side, x, breadth_x) * _bump(height, z, breadth_z)
    return np.asarray(depth, dtype=np.float64)


_RELIEF = (
    (-13.0, 29.0, 17.0, 14.0, 9.0),  # orbit
    (8.0, 31.0, 18.0, 8.0, 7.0),  # globe and lids in it
    (4.0, 25.0, 37.0, 15.0, 6.0),  # brow
    (4.0, 40.0, -22.0, 13.0, 14.0),  # cheek
    (8.0, 0.0, -46.0, 16.0, 7.0),  # upper lip
    (6.0, 0.0, -64.0, 15.0, 6.0),  # lower lip
)
"""Height, place (x, z) and spread (x, z) of each, mm."""


def face_points(spacing: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The mean face as (n, 3) points and unit normals in the posed frame, on a grid `spacing` mm apart."""
    across, height = (each.ravel() for each in np.mgrid[-60 : 60 + spacing : spacing, -92:80:spacing])
    inside = (across / 62) ** 2 + (np.minimum(height + 8, 0) / 95) ** 2 + (np.maximum(height + 8, 0) / 105) ** 2 < 1
    across, height = across[inside], height[inside]
    step = 1.0
    slope_x = (face_depth(across + step, height) - face_depth(across - step, height)) / (2 * step)
    slope_z = (face_depth(across, height + step) - face_depth(across, height - step)) / (2 * step)
    normals = np.column_stack([-slope_x, -np.ones_like(across), -slope_z])
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    return np.column_stack([across, -face_depth(across, height), height]), normals


def _bump(value: NDArray[np.float64], centre: float, spread: float | NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(np.exp(-0.5 * ((value - centre) / spread) ** 2), dtype=np.float64)
