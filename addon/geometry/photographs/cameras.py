"""Pinhole cameras: what they see, and how that changes.

Pixels count from the top left corner of the picture, x to the right, y down; the middle of the first pixel is
(0.5, 0.5). A camera's own axes are x to the right, y down, z into the picture.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, eq=False)
class Camera:
    """A camera with square pixels and its principal point in the middle of the picture.

    Parameters
    ----------
    turn : (3, 3) rotation from the world's axes to the camera's
    shift : (3,) the world's origin seen from the camera, in the world's unit
    focal : focal length, pixels
    size : width and height of the picture, pixels
    """

    turn: NDArray[np.float64]
    shift: NDArray[np.float64]
    focal: float
    size: tuple[int, int]

    @property
    def middle(self) -> NDArray[np.float64]:
        """(2,) the principal point, pixels."""
        return np.array(self.size) / 2

    @property
    def place(self) -> NDArray[np.float64]:
        """(3,) where the camera stands in the world."""
        return np.asarray(-self.turn.T @ self.shift)

    def seen(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n, 3) world points in the camera's own axes; the third is the depth."""
        return np.asarray(points @ self.turn.T + self.shift)

    def project(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n, 2) pixels of (n, 3) world points. Meaningless for points behind the camera: see `seen`."""
        x, y, depth = self.seen(points).T
        return np.column_stack([x / depth, y / depth]) * self.focal + self.middle

    def rays(self, pixels: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n, 3) unit vectors in the world, out of the camera through each of the (n, 2) pixels."""
        ways = np.column_stack([(pixels - self.middle) / self.focal, np.ones(len(pixels))])
        return np.asarray(ways / np.linalg.norm(ways, axis=1, keepdims=True) @ self.turn)

    def slopes(self, points: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """How the pixels of points change.

        Parameters
        ----------
        points : (n, 3) world points in front of the camera

        Returns
        -------
        (n, 2, 3) derivatives by the points' places in the camera's axes, and (n, 2) by the logarithm of the focal
        length.
        """
        x, y, depth = self.seen(points).T
        by_place = np.zeros((len(points), 2, 3))
        by_place[:, 0, 0] = by_place[:, 1, 1] = self.focal / depth
        by_place[:, 0, 2] = -self.focal * x / depth**2
        by_place[:, 1, 2] = -self.focal * y / depth**2
        return by_place, np.column_stack([x / depth, y / depth]) * self.focal
