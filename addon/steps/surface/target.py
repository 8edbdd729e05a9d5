"""Which surface a step of this stage works on: the closed head once there is one, else the scanned mesh."""

from ...geometry.errors import NotReady
from ...geometry.mesh import Mesh
from ..workpiece import Workpiece


def surface_of(piece: Workpiece, step: str) -> Mesh:
    """The head, or the scan where it is a mesh; `NotReady` where there is neither."""
    if piece.head is not None:
        return piece.head
    if isinstance(piece.scan, Mesh):
        return piece.scan
    raise NotReady(f"{step} works on a surface and there is only a cloud, or nothing: run close first")


def with_surface(piece: Workpiece, mesh: Mesh) -> Workpiece:
    """The workpiece with that surface in place of the one `surface_of` gave."""
    if piece.head is None:
        return piece.but(scan=mesh)
    return piece.but(head=mesh, skin=mesh if piece.skin is piece.head else piece.skin)
