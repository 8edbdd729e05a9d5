"""The rim of a hole made even before it is filled: what lies in its notches belongs to the skin."""

import numpy as np
from numpy.typing import NDArray

from ..angles import arc_tangent
from ..directions import unit
from ..mesh import Mesh

_NOTCH = np.radians(100.0)  # angle towards the hole below which a corner of the rim is filled


def even_rim(mesh: Mesh, rim: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int32]]:
    """The rim with its notches filled by a triangle each.

    Parameters
    ----------
    mesh : the mesh
    rim : (k,) its vertices in order, the surface to their left

    Returns
    -------
    The rim that is left, four vertices or more, and (t, 3) the triangles, facing as the skin does. No edge is made
    that the mesh has already.
    """
    near = np.isin(mesh.triangles, rim).any(axis=1)
    a, b, c = mesh.vertices[mesh.triangles[near]].transpose(1, 0, 2)
    facing = np.zeros((len(mesh.vertices), 3))
    for corner in range(3):
        np.add.at(facing, mesh.triangles[near, corner], np.cross(b - a, c - a))
    edges = set(map(tuple, mesh.triangles[near][:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2).tolist()))
    teeth: list[tuple[int, int, int]] = []
    while len(rim) > 4:
        angles = _towards_the_hole(mesh.vertices[rim], facing[rim])
        sharp = (angles < _NOTCH) & (angles <= np.roll(angles, 1)) & (angles < np.roll(angles, -1))
        kept = np.ones(len(rim), bool)
        for place in np.flatnonzero(sharp).tolist():
            before, here, after = (int(rim[(place + step) % len(rim)]) for step in (-1, 0, 1))
            alone = kept[place - 1] and kept[(place + 1) % len(rim)]
            if alone and kept.sum() > 4 and not {(before, after), (after, before)} & edges:
                teeth.append((here, before, after))
                edges |= {(here, before), (before, after), (after, here)}
                kept[place] = False
        if kept.all():
            break
        rim = rim[kept]
    return rim, np.array(teeth, dtype=np.int32).reshape(-1, 3)


def _towards_the_hole(places: NDArray[np.float64], facing: NDArray[np.float64]) -> NDArray[np.float64]:
    """(k,) the angle at each corner of a rim on the hole's side, radians, 0 to 2 pi, seen along the skin's normal."""
    upright = unit(facing)
    arriving, leaving = places - np.roll(places, 1, axis=0), np.roll(places, -1, axis=0) - places
    across = np.einsum("ij,ij->i", np.cross(arriving, leaving), upright)
    flat = np.einsum("ij,ij->i", arriving, leaving)
    flat -= np.einsum("ij,ij->i", arriving, upright) * np.einsum("ij,ij->i", leaving, upright)
    angles: NDArray[np.float64] = np.pi + arc_tangent(across, flat)
    return angles
