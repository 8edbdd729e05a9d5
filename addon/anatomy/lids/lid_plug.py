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

_BLEND = 0.6  # of the join: a plug stays off what tears the skin
_DEEP, _CLEARED = 3.0, 10.0  # mm it reaches under the new surface, and over it what stands before it is cut away
_BAND, _ROUNDS = 2.2, 60  # mm on either side of its edge that are evened out, and how often
_ROUNDED = 2e-7  # of the head's size: how far rounding to 32 bits moves a vertex
_STILL = 2.0  # mm about the lids' edges that stay as they were made


def plugged(head: Mesh, scale: float, lids: LidSurface, tip: NDArray[np.float64]) -> Mesh:
    """The head, in its own size, with the lids in place of all that was there, and the plug's edge evened out.

    Parameters
    ----------
    head, scale : closed; millimetres of it for one at life size
    lids, tip : the new surface, and its (3,) middle, at life size
    """
    behind = lids.view.centre
    lids = replace(lids, blend=_BLEND * lids.blend, covered=NOTHING)
    rings = lids.rings()
    places = np.concatenate([rings.places, lids.under_skin(rings)[None]])
    made = with_plug(head, behind * scale, places * scale, tip * scale, _DEEP * scale, _CLEARED * scale)
    made = _as_they_were(made, head)
    return _evened(made, places[-2] * scale, lids.border() * scale, scale)


def _as_they_were(made: Mesh, head: Mesh) -> Mesh:
    """The mesh with its old vertices bit for bit: joined solids are rounded to 32 bits."""
    away, which = KDTree(head.vertices).query(made.vertices, distance_upper_bound=_ROUNDED * np.ptp(head.vertices))
    same = np.isfinite(away)
    return replace(made, vertices=np.where(same[:, None], head.vertices[np.where(same, which, 0)], made.vertices))


def _evened(mesh: Mesh, edge: NDArray[np.float64], margin: NDArray[np.float64], scale: float) -> Mesh:
    """The mesh with its ripples beside a (k, 3) edge smoothed out, most on the edge itself."""
    low, high = edge.min(axis=0) - _BAND * scale, edge.max(axis=0) + _BAND * scale
    rows = np.flatnonzero(((mesh.vertices > low) & (mesh.vertices < high)).all(axis=1))
    places = mesh.vertices[rows]
    share = eased(1.0 - KDTree(edge).query(places)[0] / (_BAND * scale))
    share *= eased(KDTree(margin).query(places)[0] / scale - _STILL)
    rows, share = rows[share > 0], share[share > 0]
    mean, vertices = averaging(mesh)[rows].astype(np.float64), mesh.vertices.copy()
    for _ in range(_ROUNDS):
        vertices[rows] += 0.5 * share[:, None] * (mean @ vertices - vertices[rows])
    return replace(mesh, vertices=vertices)
