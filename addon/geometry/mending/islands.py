"""Loose pieces of a mesh: found by how much surface they have beside the largest."""

import numpy as np
from numpy.typing import NDArray

from ..measures import components, triangle_areas
from ..mesh import Mesh


def loose_triangles(mesh: Mesh, share: float) -> NDArray[np.bool_]:
    """(m,) which triangles belong to a piece with less than `share` of the largest piece's area.

    Parameters
    ----------
    mesh : pieces hang together where they share a vertex: weld it first
    share : 0 keeps everything, 1 only the largest
    """
    label = components(mesh)
    areas = np.bincount(label, weights=triangle_areas(mesh))
    small: NDArray[np.bool_] = (areas < share * areas.max(initial=0.0))[label]
    return small
