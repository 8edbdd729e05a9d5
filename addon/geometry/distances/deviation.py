"""How far points lie off a surface, with a sign, and the figures of it."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..measures import is_watertight, triangle_normals
from ..mesh import Mesh
from .closest import ClosestPoint
from .distance import signed_distance


def deviation(points: NDArray[np.float64], base: Mesh) -> tuple[NDArray[np.float64], str]:
    """Signed distance of each point to a surface, and what the sign was told from.

    Parameters
    ----------
    points : (n, 3) array, mm
    base : the surface; where it is not closed, a point lies outside if the nearest triangle faces it

    Returns
    -------
    (n,) array, mm, positive outside; "closed surface" or "facing of the nearest triangle".
    """
    if is_watertight(base):
        return signed_distance(base, points), "closed surface"
    distances, triangles, nearest = ClosestPoint(base).query(points)
    facing = np.einsum("ij,ij->i", points - nearest, triangle_normals(base)[triangles])
    return np.where(facing < 0, -distances, distances), "facing of the nearest triangle"


def deviation_figures(values: NDArray[np.float64]) -> dict[str, Any]:
    """Mean, RMS, 95th percentile and the largest either way of (n,) signed deviations, mm."""
    return {
        "points": len(values),
        "mean_mm": float(values.mean()),
        "rms_mm": float(np.sqrt(np.mean(values**2))),
        "p95_mm": float(np.percentile(np.abs(values), 95)),
        "max_outside_mm": float(max(values.max(), 0.0)),
        "max_inside_mm": float(max(-values.min(), 0.0)) + 0.0,  # no minus zero
    }
