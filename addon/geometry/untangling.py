"""Faces that pass through one another drawn apart by relaxing the surface there, and nowhere else."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from .intersections import self_intersections
from .mesh import Mesh
from .progress import SILENT, Progress
from .smoothing import averaging

_SWEEPS = 3  # means taken a turn


def untangled(mesh: Mesh, turns: int = 12, reach: float = np.inf, progress: Progress = SILENT) -> tuple[Mesh, int, int]:
    """The mesh with crossing faces relaxed until none cross, or until the turns run out.

    Parameters
    ----------
    mesh : a closed mesh
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
    crossing = np.unique(self_intersections(mesh)).astype(np.int64)
    first = len(crossing)
    mean = averaging(mesh).astype(np.float64) if first else None
    given = mesh.vertices
    for turn in range(turns):
        if mean is None or not len(crossing):
            break
        progress(turn / turns, "drawing crossing faces apart")
        patch = np.zeros(len(mesh.vertices))
        patch[mesh.triangles[crossing]] = 1.0
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
        crossing = _crossing_near(mesh, np.flatnonzero(inside[mesh.triangles].any(axis=1)))
    return mesh, first, len(crossing)


def _crossing_near(mesh: Mesh, moved: NDArray[np.int64]) -> NDArray[np.int64]:
    """The triangles that pass through another, of those about the triangles that moved: nothing else can cross anew."""
    middles, reach = mesh.corners.mean(axis=1), np.ptp(mesh.corners, axis=1).max()
    gap, _ = cKDTree(middles[moved]).query(middles, distance_upper_bound=2 * reach, workers=-1)
    near = np.flatnonzero(np.isfinite(gap))
    return near[np.unique(self_intersections(Mesh(mesh.vertices, mesh.triangles[near])))]
