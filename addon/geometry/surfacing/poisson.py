"""Inside or outside, far and near, from an oriented cloud: the winding number of its area elements on a grid."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import dstn, idstn, next_fast_len
from scipy.ndimage import map_coordinates
from scipy.spatial import cKDTree
from scipy.special import erfc

from ..bricks import CELL_CORNERS
from ..neighbours import Arranged
from ..portions import from_portions


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


class NearField:
    """What a field of winding numbers lacks near its points, where a step is blurred over a cell or two.

    Parameters
    ----------
    held : the points, arranged, millimetres
    elements : (n, 3) outward normal of the patch each point stands for, times its area, square millimetres
    spacing : step of the field's grid, millimetres

    Notes
    -----
    Spread linearly over the grid and read linearly from it, a point's share is blurred twice by a hat a step to either
    side: as by a bell with a third of a squared step for its variance. Beyond `reach` the two are the same.
    """

    def __init__(self, held: Arranged, elements: NDArray[np.float64], spacing: float) -> None:
        self._held, self._elements = held, elements / (4 * np.pi)
        self.reach = 1.5 * spacing
        self._away = np.linspace(0, self.reach, 300)
        bells = self._away * (np.sqrt(3) / spacing)
        self._lacking = erfc(bells / np.sqrt(2)) + np.sqrt(2 / np.pi) * bells * np.exp(-0.5 * bells**2)

    def missing(self, places: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n,) what the points near each place (n, 3) add to the field there."""

        def work(part: slice) -> NDArray[np.float64]:
            some = cKDTree(places[part], balanced_tree=False)
            pairs = some.sparse_distance_matrix(self._held.tree, self.reach, output_type="ndarray")
            which, rows, away = pairs["i"], pairs["j"], np.maximum(pairs["v"], 1e-6 * self.reach)
            way = self._held.points.take(rows, axis=0)
            way -= places[part].take(which, axis=0)
            along = np.einsum("ij,ij->i", way, self._elements.take(rows, axis=0))
            along *= np.interp(away, self._away, self._lacking)
            along /= away * away * away
            return np.asarray(np.bincount(which, along, len(places[part])), np.float64)

        return np.concatenate(from_portions(len(places), 2048, work)) if len(places) else np.empty(0)


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
    for corner in CELL_CORNERS:
        weight = np.prod(np.where(corner, part, 1 - part), axis=1) * amounts
        rows = np.ravel_multi_index(tuple((first + corner).T), shape)
        total += np.bincount(rows, weights=weight, minlength=size)
    return total.reshape(shape).astype(np.float32)
