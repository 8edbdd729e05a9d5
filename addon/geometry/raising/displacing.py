"""A surface moved along given ways, and kept back where faces would cross."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ..mending.smoothing import averaging
from ..mending.untangling import crossing_near, crossing_triangles
from ..mesh import Mesh

_ROUNDS = 6  # how often crossing faces are put back, a ring wider each time
_SOFT = 3  # rings over which what is put back passes into what moves


def displaced(mesh: Mesh, moves: NDArray[np.float64]) -> tuple[Mesh, int, int]:
    """The mesh with its vertices moved, and kept back where faces would have crossed.

    Parameters
    ----------
    mesh : any triangles
    moves : (n, 3) way of each vertex; one of zeros keeps its vertex to the last bit

    Returns
    -------
    The mesh, how many vertices were kept back, and how many faces cross for all that.

    Notes
    -----
    Faces that cross before count as given. Those that cross anew go back to where they were, and a ring more each
    round; round them the way gone fades.
    """
    share = np.ones(len(mesh.vertices))
    before = crossing_triangles(mesh)
    moved = replace(mesh, vertices=mesh.vertices + moves)
    crossing = np.setdiff1d(crossing_triangles(moved), before)
    mean = averaging(mesh).astype(np.float64) if len(crossing) else None
    for _ in range(_ROUNDS):
        if mean is None or not len(crossing):
            break
        touched = mesh.vertices_of(mesh.triangles_at(mesh.vertices_of(crossing)))
        before_this, share = share, np.where(touched, 0.0, share)
        for _ in range(_SOFT):  # a vertex left behind among those that moved would stand out as a spike
            share = np.minimum(share, mean @ share)
        moved = replace(mesh, vertices=mesh.vertices + share[:, None] * moves)
        near = np.flatnonzero(mesh.triangles_at(share != before_this))
        crossing = np.setdiff1d(crossing_near(moved, near), before)
    return moved, int((share < 1).sum()), len(crossing)
