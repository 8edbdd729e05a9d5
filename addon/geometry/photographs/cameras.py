"""Pinhole cameras: what they see, and how that changes.

Pixels count from the top left corner of the picture, x to the right, y down; the middle of the first pixel is
(0.5, 0.5). A camera's own axes are x to the right, y down, z into the picture.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Picture:
    """The frame of a photograph, or of a piece cut out of one.

    Parameters
    ----------
    size : width and height, pixels
    whole : those of the picture it was cut out of, in the same pixels; None where it is whole, or nobody knows
    cut_at : where its top left corner lies in the whole one, pixels
    """

    size: tuple[int, int]
    whole: tuple[int, int] | None = None
    cut_at: tuple[float, float] = (0.0, 0.0)

    @property
    def middle(self) -> NDArray[np.float64]:
        """(2,) the middle of the whole picture, in pixels of this one: it may lie outside."""
        return np.array(self.whole or self.size) / 2 - self.cut_at

    @property
    def longest(self) -> int:
        """The longer side of the whole picture, pixels: lenses are compared by it."""
        return max(self.whole or self.size)


@dataclass(frozen=True, eq=False)
class Camera:
    """A camera with square pixels and its principal point in the middle of the whole picture.

    Parameters
    ----------
    turn : (3, 3) rotation from the world's axes to the camera's
    shift : (3,) the world's origin seen from the camera, in the world's unit
    focal : focal length, pixels
    picture : what it took
    """

    turn: NDArray[np.float64]
    shift: NDArray[np.float64]
    focal: float
    picture: Picture

    @property
    def size(self) -> tuple[int, int]:
        """Width and height of the picture, pixels."""
        return self.picture.size

    @property
    def middle(self) -> NDArray[np.float64]:
        """(2,) the principal point, pixels."""
        return self.picture.middle

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
