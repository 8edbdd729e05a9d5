"""Faces that pass through one another drawn apart by relaxing the surface there, and nowhere else."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from ..bricks import Bricks, block
from ..directions import unit
from ..groups import summed
from ..measures import triangle_normals
from ..mesh import Mesh
from ..progress import SILENT, Progress
from .intersections import self_intersections
from .smoothing import averaging

_SWEEPS = 3  # means taken a turn


def untangled(mesh: Mesh, turns: int = 12, reach: float = np.inf, progress: Progress = SILENT) -> tuple[Mesh, int, int]:
    """The mesh with crossing faces relaxed until none cross, or until the turns run out.

    Parameters
    ----------
    mesh : a closed mesh as it is cut from a field on a grid
    turns : how often to look again; each turn the relaxed patch is one ring of neighbours wider
    reach : no vertex moves farther than this, millimetres
    progress : told how far the work is

    Returns
    -------
    The mesh, how many faces crossed at first, and how many still do. Vertices outside the patches are the same.

    Notes
    -----
    Each vertex of a patch goes to the mean of its neighbours, a few times a turn: such a membrane has no folds once the
    patch reaches past what was tangled.
    """
    crossing = crossing_triangles(mesh)
    first = len(crossing)
    mean = averaging(mesh).astype(np.float64) if first else None
    given = mesh.vertices
    for turn in range(turns):
        if mean is None or not len(crossing):
            break
        progress(turn / turns, "drawing crossing faces apart")
        patch = mesh.vertices_of(crossing).astype(np.float64)
        for _ in range(1 + turn):
            patch = np.maximum(patch, mean @ patch > 0)
        inside = patch > 0
        rows, vertices = mean[np.flatnonzero(inside)], mesh.vertices.copy()
        for _ in range(_SWEEPS):
            vertices[inside] = rows @ vertices
        way = vertices[inside] - given[inside]
        length = np.linalg.norm(way, axis=1, keepdims=True)
        vertices[inside] = given[inside] + way * np.minimum(1.0, reach / np.maximum(length, 1e-300))
        mesh = replace(mesh, vertices=vertices)
        crossing = crossing_near(mesh, np.flatnonzero(mesh.triangles_at(inside)))
    return mesh, first, len(crossing)


def crossing_triangles(mesh: Mesh) -> NDArray[np.int64]:
    """Rows of the triangles that pass through another, looked for only where the surface turns far enough."""
    return _crossing_among(mesh, np.flatnonzero(_turning(mesh)))


def _turning(mesh: Mesh) -> NDArray[np.bool_]:
    """(m,) triangles near which the surface turns so far that it may pass through itself.

    Between two sheets that face alike there is one that faces the other way, as a line out of the body does not leave
    it twice. So none cross where all that is near faces into one half of space: that is most of a head. Near is what
    lies in cells of the longest triangle's size and those around; of each cell a cone tells which ways its faces look.
    """
    corners = mesh.corners
    grid = Bricks(np.floor(corners.mean(axis=1) / np.ptp(corners, axis=1).max()).astype(np.int64))
    kept = grid.beside(slice(None), np.zeros(3, np.int64))  # for all in a cell the same one of them
    stands = kept == np.arange(len(kept))
    cell, first = (np.cumsum(stands) - 1)[kept], np.flatnonzero(stands)
    normals = triangle_normals(mesh)
    axis = unit(summed(cell, normals))
    least = np.ones(len(first))  # cosine of the cone's half angle
    np.minimum.at(least, cell, np.clip(np.einsum("ij,ij->i", normals, axis[cell]), -1, 1))
    turning = np.zeros(len(first), bool)
    for offset in block(3, 3, 3) - 1:
        beside = grid.beside(first, offset)
        other = cell[beside]
        apart = np.clip(np.einsum("ij,ij->i", axis, axis[other]), -1, 1)
        both = apart * least[other] - np.sqrt((1 - apart**2) * (1 - least[other] ** 2))  # cosine of the sum
        turning |= (beside >= 0) & ((both < _FACING) | (apart + least[other] < 0))
    found: NDArray[np.bool_] = turning[cell]
    return found


_FACING = 0.1
"""Cosine under which two faces no longer look into one half of space; a little over 0, for what rounds: no source."""


def crossing_near(mesh: Mesh, moved: NDArray[np.int64]) -> NDArray[np.int64]:
    """Rows of the triangles that pass through another, near triangles that moved: no others can do so anew.

    Parameters
    ----------
    mesh : the mesh as it is now, free of crossings but for where it moved
    moved : rows of the triangles that moved
    """
    middles, reach = mesh.corners.mean(axis=1), np.ptp(mesh.corners, axis=1).max()
    gap, _ = cKDTree(middles[moved]).query(middles, distance_upper_bound=2 * reach, workers=-1)
    return _crossing_among(mesh, np.flatnonzero(np.isfinite(gap)))


def _crossing_among(mesh: Mesh, some: NDArray[np.int64]) -> NDArray[np.int64]:
    """Of some triangles those that pass through one another."""
    return some[np.unique(self_intersections(Mesh(mesh.vertices, mesh.triangles[some])))]
