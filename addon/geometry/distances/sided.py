"""Distance to a surface with a sign and a direction: of a closed one exactly, of an open one by the nearest face."""

import numpy as np
from numpy.typing import NDArray

from ..measures import is_watertight, triangle_normals
from ..mesh import Mesh
from .closest import ClosestPoint
from .distance import SignedDistance

_ON = 1e-6  # millimetres from the surface within which the way off it is the face's normal
Vectors = NDArray[np.float64]


class Sided:
    """How far points are over a surface, and which way leads off it.

    Parameters
    ----------
    mesh : closed, or open with normals that look outwards
    """

    def __init__(self, mesh: Mesh) -> None:
        self.mesh = mesh
        self._closed = SignedDistance(mesh) if is_watertight(mesh) else None
        self._closest = ClosestPoint(mesh) if self._closed is None else None
        self._normals = triangle_normals(mesh)

    def query(self, points: Vectors) -> tuple[NDArray[np.float64], Vectors]:
        """(n,) height of (n, 3) points over the surface, negative under it, and (n, 3) unit ways off it."""
        if self._closed is not None:
            height, triangle, place = self._closed.query(points)
        else:
            assert self._closest is not None
            distance, triangle, place = self._closest.query(points)
            below = np.einsum("ij,ij->i", points - place, self._normals[triangle]) < 0
            height = np.where(below, -distance, distance)
        away = (points - place) / np.where(np.abs(height) > _ON, height, 1.0)[:, None]
        return height, np.where((np.abs(height) > _ON)[:, None], away, self._normals[triangle])
