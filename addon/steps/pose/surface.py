"""What the steps of posing look at."""

import numpy as np

from ...geometry.errors import NotReady
from ...geometry.mesh import Mesh
from ..workpiece import Workpiece

_BRIDGED = 2.5
"""A gap that was filled in this near to points tells as much as they do; farther in it is nobody's face, mm."""


def surface_of(piece: Workpiece) -> Mesh | None:
    """The closed head, or else an open scan's mesh; None where there is neither.

    What closing filled in far from any point is left out: a landmark read off it would be invented.
    """
    if piece.head is not None:
        return _without_fills(piece.head, _BRIDGED * piece.scale)
    return piece.scan if isinstance(piece.scan, Mesh) and len(piece.scan.triangles) else None


def needed_surface(piece: Workpiece) -> Mesh:
    """The surface to look at, or `NotReady` saying which step makes one."""
    surface = surface_of(piece)
    if surface is None:
        raise NotReady("there is no surface to look at: run close first")
    return surface


def _without_fills(head: Mesh, bridged: float) -> Mesh:
    """The head without the triangles that lie farther than `bridged` from all that points support."""
    from scipy.spatial import KDTree

    confidence = head.columns.get("confidence")
    if confidence is None:
        return head
    supported = confidence.astype(np.float64) >= 0.5
    if not supported.any():
        return head
    far = np.flatnonzero(~supported)
    away, _ = KDTree(head.vertices[supported]).query(head.vertices[far], distance_upper_bound=bridged, workers=-1)
    invented = np.zeros(len(head.vertices), dtype=bool)
    invented[far[~np.isfinite(away)]] = True
    return head.kept(~invented[head.triangles].any(axis=1))
