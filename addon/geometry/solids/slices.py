"""Where a plane meets a surface, as loose lines to be drawn: the surface itself, and the inner face of a wall to come.

Quick rather than joined up: `sections.py` has closed outlines.
"""

import numpy as np
from numpy.typing import NDArray

from ..distances.rough_distance import RoughDistance
from ..groups import counted_out
from ..mesh import Mesh
from .sections import Plane

Vectors = NDArray[np.float64]
_FINEST = 200
"""Most nodes of the grid along the longer side of a slice."""
_DOTS = 0.12
"""Spacing of the dots the skin is stood for by, over the depth: half of it is the gap they leave, which makes the depth
look (0.06)² / 2 of itself too large, a five hundredth."""


def crossing(mesh: Mesh, origin: Vectors, up: Vectors) -> Vectors:
    """(2 n, 3) ends of the segments in which the triangles of a mesh meet a plane, given by a point and its normal."""
    heights = (mesh.vertices - origin) @ up
    above = heights >= 0
    sides = above[mesh.triangles].sum(axis=1)
    crossed = mesh.triangles[(sides == 1) | (sides == 2)]
    ahead = np.roll(crossed, -1, axis=1)
    cut = above[crossed] != above[ahead]
    start, end = crossed[cut], ahead[cut]
    share = (heights[start] / (heights[start] - heights[end]))[:, None]
    return np.asarray(mesh.vertices[start] * (1 - share) + mesh.vertices[end] * share)


def inset_crossing(mesh: Mesh, plane: Plane, depth: float) -> Vectors:
    """(2 n, 3) ends of the segments in which a plane meets the surface `depth` under the skin of a closed mesh.

    Notes
    -----
    The distance is asked for on a grid in the plane, and only of the triangles that can be so near it, so that it
    takes a fraction of the time that the whole surface does. Right to a hundredth of the depth.
    """
    one, other, third = plane.heights(mesh.vertices)[mesh.triangles.T]  # thrice as quick as min and max over an axis
    lowest, highest = np.minimum(np.minimum(one, other), third), np.maximum(np.maximum(one, other), third)
    near = (lowest < 1.5 * depth) & (highest > -1.5 * depth)
    ends = crossing(mesh, plane.origin, plane.up)
    if not len(ends):
        return np.zeros((0, 3))
    flat = plane.flat(ends)
    low = flat.min(axis=0)
    step = max(depth / 4, float(np.ptp(flat, axis=0).max()) / _FINEST)
    counts = np.ceil(np.ptp(flat, axis=0) / step).astype(int) + 2
    inside = _inside(flat.reshape(-1, 2, 2), low, step, counts)
    across, along = (low[axis] + step * np.arange(counts[axis]) for axis in (0, 1))
    nodes = np.stack(np.meshgrid(across, along), axis=-1).reshape(-1, 2)
    value = np.full(len(nodes), -depth)
    inner = np.flatnonzero(inside.ravel())
    if not len(inner):
        return np.zeros((0, 3))
    places = plane.placed(nodes[inner])
    skin = RoughDistance(mesh.kept(near), _DOTS * depth)
    value[inner] += np.minimum(skin.query(places, 2 * depth), 2 * depth)
    # The level of a height over the plane is where the plane itself cuts that relief.
    relief = Mesh(np.column_stack([nodes, value]), _grid(counts))
    level = crossing(relief, np.zeros(3), np.array([0.0, 0.0, 1.0]))
    return plane.placed(level[:, :2])


def _inside(segments: Vectors, low: Vectors, step: float, counts: NDArray[np.int64]) -> NDArray[np.bool_]:
    """(rows, columns) whether each node of a grid lies within closed outlines, given as (n, 2, 2) loose segments.

    Every segment that a row crosses turns outside to inside, or back, for all nodes beyond it.
    """
    order = np.take_along_axis(segments, segments[:, :, 1].argsort(axis=1)[:, :, None], axis=1)
    first = np.ceil((order[:, 0, 1] - low[1]) / step).astype(int)
    last = np.ceil((order[:, 1, 1] - low[1]) / step).astype(int)  # a row through an end belongs to one segment alone
    which, number = counted_out(last - first)
    row = first[which] + number
    start, end = order[which, 0], order[which, 1]
    share = (low[1] + step * row - start[:, 1]) / (end[:, 1] - start[:, 1])
    column = np.ceil((start[:, 0] + share * (end[:, 0] - start[:, 0]) - low[0]) / step).astype(int)
    turns = np.zeros((counts[1], counts[0] + 1), np.int64)
    np.add.at(turns, (row, np.clip(column, 0, counts[0])), 1)
    return np.asarray(turns.cumsum(axis=1)[:, :-1] % 2 == 1)


def _grid(counts: NDArray[np.int64]) -> NDArray[np.int32]:
    """Triangles of a grid of nodes, row by row."""
    width, height = int(counts[0]), int(counts[1])
    corner = (width * np.arange(height - 1, dtype=np.int32)[:, None] + np.arange(width - 1, dtype=np.int32)).ravel()
    one = np.stack([corner, corner + 1, corner + width], axis=1)
    other = np.stack([corner + 1, corner + width + 1, corner + width], axis=1)
    return np.concatenate([one, other])
