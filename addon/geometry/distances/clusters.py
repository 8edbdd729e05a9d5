"""Triangles in clusters of sixteen that lie together."""

import numpy as np
from numpy.typing import NDArray

from ..mesh import Mesh
from ..neighbours import tree_order
from .columns import Corners, Reals, corner_columns, squared_edges

CLUSTER = 16
"""Triangles in a cluster."""
_LARGE = 4
"""Times as long as most: such a triangle is not put with smaller ones."""


def cluster_order(mesh: Mesh) -> NDArray[np.int32]:
    """The triangles, cluster after cluster; the last one again and again, to make the last cluster whole.

    Notes
    -----
    Along a curve through space, but triangles of a size together: a single long one makes a cluster's box a long one.
    """
    corners = corner_columns(np.ascontiguousarray(mesh.vertices.T), mesh.triangles)
    order = tree_order((corners[0] + corners[1] + corners[2]).T)
    longest = np.sqrt(squared_edges(corners).max(axis=0))
    typical = float(np.median(longest))
    if typical > 0 and longest.max() > _LARGE * typical:
        size = (np.log(np.maximum(longest / typical, 1)) / np.log(_LARGE)).astype(np.uint8)
        order = order[np.argsort(size[order], kind="stable")]
    return np.append(order, np.repeat(order[-1:], -len(order) % CLUSTER)).astype(np.int32)


def cluster_boxes(corners: Corners) -> tuple[Reals, Reals]:
    """(3, k) low and high corners of the boxes round clusters, given their triangles' corners."""
    a, b, c = corners
    low, high = np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)
    return low.reshape(3, -1, CLUSTER).min(axis=2), high.reshape(3, -1, CLUSTER).max(axis=2)
