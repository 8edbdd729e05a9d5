"""The surface a mesh of quads is drawn to: where each of its points belongs, and how far that is to be trusted."""

import numpy as np
from numpy.typing import NDArray

from ..distances.closest import ClosestPoint
from ..measures import on_rims, triangle_normals
from ..mesh import Mesh

_FACING = np.cos(np.radians(60.0))


class Goal:
    """The surface to be reached.

    Parameters
    ----------
    mesh : closed or open; where it ends nothing is drawn to its edge
    unseen : (n,) mask of vertices where the surface was made up, or None; nothing is drawn there either
    """

    def __init__(self, mesh: Mesh, unseen: NDArray[np.bool_] | None = None) -> None:
        self.mesh, self._closest = mesh, ClosestPoint(mesh)
        self._normals = triangle_normals(mesh)
        useless = on_rims(mesh) if unseen is None else on_rims(mesh) | unseen
        self._useless = mesh.triangles_at(useless)

    def pulls(
        self, points: NDArray[np.float64], normals: NDArray[np.float64], reach: float
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Where each point is drawn to, and how strongly.

        Parameters
        ----------
        points, normals : (n, 3) arrays, the normals of unit length
        reach : distance at which the pull has fallen to a half; beyond three times as much there is none

        Returns
        -------
        (n, 3) nearest places and (n,) weights from 0 to 1; 0 where the surface faces more than 60 degrees another way,
        ends, or was made up.
        """
        distance, triangle, place = self._closest.query(points, far=3 * reach)
        alike = np.einsum("ij,ij->i", self._normals[triangle], normals)
        trusted = (alike > _FACING) & ~self._useless[triangle] & (distance < 3 * reach)
        return place, np.where(trusted, 1.0 / (1.0 + (distance / reach) ** 2), 0.0)
