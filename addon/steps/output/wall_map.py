"""The wall under each vertex as a column of every part, to be looked at on the surface itself."""

import numpy as np

from ...geometry.mesh import Mesh
from ..workpiece import Workpiece

COLUMN = "wall_mm"
_FARTHEST = 10.0
"""Least walls, over which walls are not told apart."""


def with_wall_maps(piece: Workpiece, least: float) -> Workpiece:
    """The workpiece whose head and parts carry a column `wall_mm`, at most ten times the `least` wall."""
    parts = {name: with_walls(part, least) for name, part in piece.parts.items()}
    return piece.but(head=with_walls(piece.needed_head(), least), parts=parts)


def with_walls(mesh: Mesh, least: float) -> Mesh:
    """The mesh with a column `wall_mm`: the wall under the place nearest each vertex that a ray was sent from."""
    from scipy.spatial import cKDTree

    from ...geometry.printing.thickness import wall_thickness

    walls = wall_thickness(mesh, least / 4, _FARTHEST * least)
    _, nearest = cKDTree(walls.place).query(mesh.vertices, workers=-1)
    column = np.minimum(walls.thickness[nearest], _FARTHEST * least).astype(np.float32)
    return mesh.with_column(COLUMN, column)
