"""Which part of a head's surface is its face: where no mark of a tool is wanted."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from ...geometry.measures import triangle_normals
from ...geometry.mesh import Mesh

HAIRLINE, UNDER_CHIN = 1.1, 0.2
"""How far the face goes on over glabella and under the chin, over glabella to subnasale and subnasale to gnathion: the
thirds of the face (Vitruvius, De architectura III.1.2), and a little for the edge of the jaw."""
GRAZING = np.cos(np.radians(80.0))
"""Faces turned further from the front than this are its edge, not the face."""


def face_of(head: Mesh, landmarks: Mapping[str, NDArray[np.float64]]) -> NDArray[np.bool_]:
    """(m,) triangles of a posed head (face towards -y) that belong to the face.

    Parameters
    ----------
    head : Mesh
    landmarks : (3,) positions by name; without glabella, subnasale and gnathion the front half is taken for the face
    """
    middles = head.corners.mean(axis=1)
    ahead = triangle_normals(head)[:, 1] < -GRAZING
    ears = [landmarks[name][1] for name in ("tragion-left", "tragion-right") if name in landmarks]
    low, high = head.vertices[:, 1].min(), head.vertices[:, 1].max()
    ahead &= middles[:, 1] < (float(np.mean(ears)) if ears else (low + high) / 2)
    if {"glabella", "subnasale", "gnathion"} <= landmarks.keys():
        brow, nose, chin = (landmarks[name][2] for name in ("glabella", "subnasale", "gnathion"))
        top, bottom = brow + HAIRLINE * (brow - nose), chin - UNDER_CHIN * (nose - chin)
        ahead &= (middles[:, 2] < top) & (middles[:, 2] > bottom)
    face: NDArray[np.bool_] = ahead
    return face
