"""A surface moved along given ways, and kept back where faces would cross."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ..mending.untangling import crossing_near, crossing_triangles
from ..mesh import Mesh

_ROUNDS = 6  # how often crossing faces are put back, a ring wider each time


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
    round.
    """
    share = np.ones(len(mesh.vertices))
    before = crossing_triangles(mesh)
    moved = replace(mesh, vertices=mesh.vertices + moves)
    crossing = np.setdiff1d(crossing_triangles(moved), before)
    for _ in range(_ROUNDS):
        if not len(crossing):
            break
        touched = np.zeros(len(share), bool)
        touched[mesh.triangles[crossing]] = True
        touched[mesh.triangles[touched[mesh.triangles].any(axis=1)]] = True
        share[touched] = 0.0
        moved = replace(mesh, vertices=mesh.vertices + share[:, None] * moves)
        near = np.flatnonzero(touched[mesh.triangles].any(axis=1))
        crossing = np.setdiff1d(crossing_near(moved, near), before)
    return moved, int((share < 1).sum()), len(crossing)
