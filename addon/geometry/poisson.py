"""Inside or outside, far and near, from an oriented cloud: the winding number of its area elements on a grid."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import dstn, idstn, next_fast_len
from scipy.ndimage import map_coordinates


@dataclass(frozen=True, eq=False)
class Field:
    """Values at the nodes of a regular grid: values[i, j, k] at origin + (i, j, k) * spacing, millimetres."""

    values: NDArray[np.float32]
    origin: NDArray[np.float64]
    spacing: float

    def at(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n,) the field between its nodes, by cubic-free linear weights; the border's value beyond it."""
        places = ((points - self.origin) / self.spacing).T
        found: NDArray[np.float64] = map_coordinates(self.values, places, np.float64, order=1, mode="nearest")
        return found


def winding_field(
    points: NDArray[np.float64],
    elements: NDArray[np.float64],
    spacing: float,
    margin: float,
) -> Field:
    """About 1 inside the body, 0 outside, and one half on its surface and across the flat of an open rim.

    Parameters
    ----------
    points : (n, 3) float array, millimetres
    elements : (n, 3) outward normal of the patch each point stands for, times its area, square millimetres
    spacing : grid step, millimetres
    margin : free space kept round the cloud, millimetres: the field is held at 0 there

    Notes
    -----
    The generalised winding number (Jacobson and others 2013, doi 10.1145/2461912.2461916) of the area elements is
    the solution of a Poisson equation whose source is their divergence (Kazhdan and others 2006). Here the elements
    are spread over the grid's faces and the equation solved by sine transforms, which is exact on the grid.
    """
    low = points.min(axis=0) - margin
    wanted = np.ceil((points.max(axis=0) + margin - low) / spacing).astype(int) + 1
    shape = tuple(next_fast_len(2 * (int(size) + 1), real=True) // 2 - 1 for size in wanted)
    source = np.zeros(shape, np.float32)
    for axis in range(3):
        flux = _spread(points, elements[:, axis], low, spacing, shape, axis)
        source += np.diff(flux, axis=axis, prepend=0.0)
    source *= -1.0 / spacing**2  # flux through a face of the grid, over the face's area; one difference over a step
    spectrum = dstn(source, type=1, workers=-1, overwrite_x=True)
    rates = [2 - 2 * np.cos(np.pi * np.arange(1, size + 1) / (size + 1), dtype=np.float32) for size in shape]
    spectrum /= -(rates[0][:, None, None] + rates[1][None, :, None] + rates[2][None, None, :])
    return Field(idstn(spectrum, type=1, workers=-1, overwrite_x=True), low, spacing)


def _spread(
    points: NDArray[np.float64],
    amounts: NDArray[np.float64],
    low: NDArray[np.float64],
    spacing: float,
    shape: tuple[int, ...],
    axis: int,
) -> NDArray[np.float32]:
    """Amounts shared out among the eight nearest faces of the grid across one axis; face i lies after node i."""
    places = (points - low) / spacing
    places[:, axis] -= 0.5
    first = np.floor(places).astype(np.int64)
    part = places - first
    size = int(np.prod(shape))
    total = np.zeros(size)
    for corner in range(8):
        bits = np.array([corner & 1, corner >> 1 & 1, corner >> 2 & 1])
        weight = np.prod(np.where(bits, part, 1 - part), axis=1) * amounts
        rows = np.ravel_multi_index(tuple((first + bits).T), shape)
        total += np.bincount(rows, weights=weight, minlength=size)
    return total.reshape(shape).astype(np.float32)
