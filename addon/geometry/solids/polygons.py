"""Polygons with more than three corners, cut into triangles."""

from typing import Any

import numpy as np
from numpy.typing import NDArray


def triangulated(points: NDArray[np.float64], polygons: NDArray[np.integer[Any]]) -> NDArray[np.int32]:
    """Triangles that cover polygons of one corner count, turning the same way.

    Parameters
    ----------
    points : (n, 3) float array
    polygons : (k, c) int array of rows of `points`, c at least 3, flat or nearly so, either way round

    Returns
    -------
    (k * (c - 2), 3) int32 array, the triangles of one polygon after those of another.

    Notes
    -----
    A convex polygon is fanned (a quad across its shorter diagonal); a dented one loses ear after ear, judged in the
    plane of its Newell normal (Newell's method, common practice, from memory).
    """
    count, corners = polygons.shape
    if corners == 3 or count == 0:
        return np.asarray(polygons, dtype=np.int32).reshape(-1, 3)
    places = points[polygons]
    normals = np.cross(places, np.roll(places, -1, axis=1)).sum(axis=1)
    ahead, back = np.roll(places, -1, axis=1) - places, places - np.roll(places, 1, axis=1)
    turns = np.einsum("pci,pi->pc", np.cross(back, ahead), normals)
    dented = (turns < 0).any(axis=1)
    turned = np.asarray(polygons)
    if corners == 4:
        first = np.linalg.norm(places[:, 0] - places[:, 2], axis=1)
        second = np.linalg.norm(places[:, 1] - places[:, 3], axis=1)
        turned = np.where((first <= second)[:, None], polygons, np.roll(polygons, -1, axis=1))
    middle = np.arange(1, corners - 1)
    fans = np.stack([np.repeat(turned[:, :1], corners - 2, axis=1), turned[:, middle], turned[:, middle + 1]], axis=2)
    for which in np.flatnonzero(dented):
        fans[which] = polygons[which][_ears(places[which], normals[which])]
    return np.asarray(fans.reshape(-1, 3), dtype=np.int32)


def _ears(places: NDArray[np.float64], normal: NDArray[np.float64]) -> NDArray[np.int64]:
    """(c - 2, 3) corner numbers of the triangles of one dented polygon."""
    axis = int(np.argmax(np.abs(normal)))
    flat = np.delete(places, axis, axis=1)
    # Dropping the y axis mirrors the plane; so does looking at it from behind.
    sign = float(np.sign(normal[axis]) * (-1.0 if axis == 1 else 1.0))
    left, triangles = list(range(len(places))), []
    while len(left) > 3:
        at = next((i for i in range(len(left)) if _is_ear(flat, left, i, sign)), 0)
        triangles.append((left[at - 1], left[at], left[(at + 1) % len(left)]))
        del left[at]
    return np.array([*triangles, tuple(left)])


def _is_ear(flat: NDArray[np.float64], left: list[int], at: int, sign: float) -> bool:
    """Whether corner `at` of what is left turns outward and no other corner lies in its triangle."""
    before, here, after = flat[left[at - 1]], flat[left[at]], flat[left[(at + 1) % len(left)]]
    if sign * _cross(here - before, after - here) <= 0:
        return False
    others = [corner for corner in left if not any(np.array_equal(flat[corner], p) for p in (before, here, after))]
    rest = flat[others]
    sides = [sign * _cross(b - a, rest - a) for a, b in ((before, here), (here, after), (after, before))]
    return not bool(np.all(np.array(sides) >= 0, axis=0).any())


def _cross(a: NDArray[np.float64], b: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0])
