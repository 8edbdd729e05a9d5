"""Lids set into a head as a plug, where its skin is torn or folded along every seam they could be sewn in by."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from ...geometry.mending.smoothing import averaging
from ...geometry.mesh import Mesh
from ...geometry.solids.star_plug import with_plug
from .lid_corners import eased
from .lid_cover import NOTHING
from .lid_surface import LidSurface

_BLEND, _LEAST = 0.5, 1.5  # of the join, and mm at least: a plug stays off what tears the skin
_BAND = (0.5, 2.2)
"""mm on either side of the plug's edge that are evened out, at least and at most: the rest of a join of 2 mm or
more, so that nothing beyond it moves."""
_DEEP, _CLEARED = 3.0, 10.0  # mm it reaches under the new surface, and over it what stands before it is cut away
_ROUNDS = 16  # how often: more would flatten the skin beside the edge as well
_STILL = 2.0  # mm about the lids' edges that stay as they were made, and half as much to where all is evened


def plugged(head: Mesh, scale: float, lids: LidSurface, tip: NDArray[np.float64]) -> Mesh:
    """The head, in its own size, with the lids in place of all that was there, and the plug's edge evened out.

    Parameters
    ----------
    head, scale : closed; millimetres of it for one at life size
    lids, tip : the new surface, and its (3,) middle, at life size
    """
    behind, blend = lids.view.centre, max(_BLEND * lids.blend, _LEAST)
    band = float(np.clip(lids.blend - blend, *_BAND))
    lids = replace(lids, blend=blend, covered=NOTHING)
    edge = lids.edge(even=False)
    places = np.concatenate([lids.rings(edge), lids.under_skin(edge)[None]])
    made = with_plug(head, behind * scale, places * scale, tip * scale, _DEEP * scale, _CLEARED * scale)
    return _evened(made, places[-2] * scale, lids.border() * scale, band * scale, _STILL * scale)


def _evened(mesh: Mesh, edge: NDArray[np.float64], margin: NDArray[np.float64], band: float, still: float) -> Mesh:
    """The mesh with its ripples beside a (k, 3) edge smoothed out, most on the edge itself and none near the margin."""
    low, high = edge.min(axis=0) - band, edge.max(axis=0) + band
    rows = np.flatnonzero(((mesh.vertices > low) & (mesh.vertices < high)).all(axis=1))
    places = mesh.vertices[rows]
    share = eased(1.0 - KDTree(edge).query(places)[0] / band)
    share *= eased(2.0 * (KDTree(margin).query(places)[0] / still - 1.0))
    rows, share = rows[share > 0], share[share > 0]
    mean, vertices = averaging(mesh)[rows].astype(np.float64), mesh.vertices.copy()
    for _ in range(_ROUNDS):
        vertices[rows] += 0.5 * share[:, None] * (mean @ vertices - vertices[rows])
    return replace(mesh, vertices=vertices)
