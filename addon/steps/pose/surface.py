"""What the steps of posing look at."""

from ...geometry.errors import NotReady
from ...geometry.mesh import Mesh
from ..workpiece import Workpiece


def surface_of(piece: Workpiece) -> Mesh | None:
    """The closed head, or else an open scan's mesh; None where there is neither."""
    if piece.head is not None:
        return piece.head
    return piece.scan if isinstance(piece.scan, Mesh) and len(piece.scan.triangles) else None


def needed_surface(piece: Workpiece) -> Mesh:
    """The surface to look at, or `NotReady` saying which step makes one."""
    surface = surface_of(piece)
    if surface is None:
        raise NotReady("there is no surface to look at: run close first")
    return surface
