"""Closed meshes cut off by a plane, and what hangs loose afterwards left out."""

import numpy as np
from numpy.typing import NDArray

from ..errors import NotPossible
from ..measures import components, piece_volumes
from ..mesh import Mesh
from .booleans import split
from .sections import Plane


def largest_above(mesh: Mesh, cut: Plane) -> Mesh:
    """What lies above the plane, closed with a flat face: its largest piece, with the hollows inside that piece.

    Raises
    ------
    NotPossible
        Nothing lies above the plane.
    """
    above, _below = split(mesh, cut.origin, cut.up)
    if not len(above.triangles):
        raise NotPossible("nothing of the head lies above the cut: move the cut down")
    return largest_piece(above)


def largest_piece(mesh: Mesh) -> Mesh:
    """The piece of most volume and the hollows in it; other pieces are left out."""
    pieces = components(mesh)
    if not pieces.any():
        return mesh
    volumes = piece_volumes(mesh, pieces)
    largest = int(np.argmax(volumes))
    low, high = _boxes(mesh, pieces)
    within = (low >= low[largest]).all(axis=1) & (high <= high[largest]).all(axis=1) & (volumes < 0)
    within[largest] = True
    return mesh.kept(within[pieces])


def _boxes(mesh: Mesh, pieces: NDArray[np.int32]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """(k, 3) lowest and highest coordinates of each piece."""
    count = int(pieces.max()) + 1
    low, high = np.full((count, 3), np.inf), np.full((count, 3), -np.inf)
    for corner in range(3):
        np.minimum.at(low, pieces, mesh.vertices[mesh.triangles[:, corner]])
        np.maximum.at(high, pieces, mesh.vertices[mesh.triangles[:, corner]])
    return low, high
