"""What of a surface is seen from outside: tells the inner wall of a hollow shell from the outer one."""

import numpy as np
from numpy.typing import NDArray

from .neighbours import arranged

_DIRECTIONS = 60


def seen_share(points: NDArray[np.float64], normals: NDArray[np.float64], size: float) -> NDArray[np.float64]:
    """(n,) share of the directions before each point from which it is seen past all the others, 0 to 1.

    Parameters
    ----------
    points : (n, 3) float array, millimetres, dense against `size`
    normals : (n, 3) outward unit vectors
    size : side of a pixel, millimetres: six point spacings or so, or the nearer wall shows gaps

    Notes
    -----
    Depth images along 60 directions spread evenly over the sphere (golden spiral). A direction counts for a point
    where it meets the front within 60 degrees of the normal.
    """
    turn = np.arange(_DIRECTIONS) * np.pi * (3 - np.sqrt(5))
    height = 1 - (2 * np.arange(_DIRECTIONS) + 1) / _DIRECTIONS
    flat = np.sqrt(1 - height**2)
    seen, asked = np.zeros(len(points)), np.zeros(len(points))
    for way in np.stack([flat * np.cos(turn), flat * np.sin(turn), height], axis=1):
        across = np.linalg.svd(way[None])[2][1:]
        pixel = np.floor((points @ across.T) / size).astype(np.int64)
        pixel -= pixel.min(axis=0)
        number = pixel[:, 0] * (pixel[:, 1].max() + 1) + pixel[:, 1]
        depth = points @ way
        nearest = np.full(int(number.max()) + 1, -np.inf)
        np.maximum.at(nearest, number, depth)
        facing = normals @ way > 0.5
        asked += facing
        seen += facing & (depth > nearest[number] - 2.5 * size)
    share: NDArray[np.float64] = seen / np.maximum(asked, 1)
    return share


def outer_wall(points: NDArray[np.float64], normals: NDArray[np.float64], spacing: float) -> NDArray[np.bool_]:
    """Which points belong to the wall that is seen from outside, its folds included.

    Parameters
    ----------
    points, normals : (n, 3) float arrays, millimetres and outward unit vectors
    spacing : millimetres between the points

    Notes
    -----
    What is seen from a seventh of its directions is outside for sure; from there the wall is followed a few points
    deep into its folds, but not round an edge: the inner side of a shell faces the other way.
    """
    outside = seen_share(points, normals, 6 * spacing) > _SURELY
    held = arranged(points)
    _, rows = held.nearest(8)
    own, facing = outside[held.rows], normals[held.rows]
    alike = np.einsum("mki,mi->mk", facing[rows], facing) > 0.5
    for _ in range(_DEEP):
        own = own | (alike & own[rows]).any(axis=1)
    return own[held.back]


_SURELY, _DEEP = 0.15, 3
