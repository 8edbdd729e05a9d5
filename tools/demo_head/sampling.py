"""From an implicit form to triangles: coarse blocks first, the fine grid only where the surface runs."""

from collections.abc import Callable

import numpy as np
from canthus.geometry.surfacing.isosurface import isosurface
from numpy.typing import NDArray

Form = Callable[[NDArray[np.float32]], NDArray[np.float32]]


def axis(low: float, high: float, spacing: float, fine: list[tuple[float, float]], finest: float) -> NDArray:
    """Grid places from `low` to `high`: `spacing` apart, `finest` apart within the `fine` stretches.

    The step changes gradually, so that no triangle is drawn out where the stretches meet.
    """
    places = [low]
    while places[-1] < high:
        here = places[-1]
        away = min((max(a - here, here - b, 0.0) for a, b in fine), default=np.inf)
        places.append(here + min(spacing, finest + 0.25 * away))
    return np.array(places)


def sampled(form: Form, axes: list[NDArray], block: int = 8, slack: float = 2.5) -> NDArray[np.float32]:
    """The form's values on the grid of `axes`; far from the surface only their sign can be trusted.

    Parameters
    ----------
    form : function of (n, 3) points to (n,) values in millimetres, negative inside
    axes : three rising arrays of grid places
    block : grid steps along the side of a block
    slack : how far (mm) the form's values may err as a distance before a block is wrongly passed over
    """
    counts = [len(a) for a in axes]
    starts = [np.arange(0, n, block) for n in counts]
    middles, halves = [], []
    for places, start in zip(axes, starts, strict=True):
        low, high = places[start], places[np.minimum(start + block, len(places) - 1)]
        middles.append((low + high) / 2)
        halves.append((high - low) / 2)
    centres = np.stack(np.meshgrid(*middles, indexing="ij"), -1).reshape(-1, 3).astype(np.float32)
    reach = np.sqrt(sum(h**2 for h in np.meshgrid(*halves, indexing="ij"))).ravel()
    coarse = in_pieces(form, centres)
    values = np.where(coarse < 0, np.float32(-1), np.float32(1)).reshape([len(s) for s in starts])
    for dimension, n in enumerate(counts):
        values = np.repeat(values, block, axis=dimension).take(range(n), axis=dimension)
    near = np.flatnonzero(np.abs(coarse) < reach * 1.15 + slack)
    corner = np.stack(np.unravel_index(near, [len(s) for s in starts]), 1) * block
    inside_block = np.stack(np.meshgrid(*[np.arange(block)] * 3, indexing="ij"), -1).reshape(-1, 3)
    for chunk in np.array_split(corner, max(1, len(corner) * block**3 // 400_000)):
        rows = (chunk[:, None, :] + inside_block).reshape(-1, 3)
        rows = rows[(rows < counts).all(axis=1)]
        points = np.stack([axes[k][rows[:, k]] for k in range(3)], 1).astype(np.float32)
        values[rows[:, 0], rows[:, 1], rows[:, 2]] = form(points)
    return values


def in_pieces(form: Form, points: NDArray[np.float32], size: int = 400_000) -> NDArray[np.float32]:
    """The form at many points, a piece at a time to bound memory."""
    return np.concatenate([form(points[i : i + size]) for i in range(0, len(points), size)])


def surface(values: NDArray[np.float32], axes: list[NDArray]) -> tuple[NDArray, NDArray]:
    """Vertices (n, 3) and triangles (m, 3) of the closed surface where the values pass through zero."""
    mesh = isosurface(values)
    vertices = np.stack([np.interp(mesh.vertices[:, k], np.arange(len(axes[k])), axes[k]) for k in range(3)], 1)
    return vertices, mesh.triangles


def settled(form: Form, vertices: NDArray, triangles: NDArray, reach: float) -> NDArray[np.float64]:
    """The vertices moved along their normals onto the form, `reach` mm at most: a step of Newton's method."""
    corners = vertices[triangles]
    faces = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normals = np.stack(
        [sum(np.bincount(triangles[:, c], faces[:, k], len(vertices)) for c in range(3)) for k in range(3)], axis=1
    )
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-12)
    off = np.clip(in_pieces(form, vertices.astype(np.float32)), -reach, reach)
    return vertices - off[:, None] * normals
