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


def mended(piece: Workpiece, mesh: Mesh) -> tuple[Workpiece, Mesh]:
    """The mesh without its faults, and the workpiece with each repair among its figures and notes."""
    from ...geometry.mending.repairing import repaired

    after, repairs = repaired(mesh)
    if repairs:
        piece = piece.noted(f"The mesh was mended: {'; '.join(map(str, repairs))}.").measured(
            repairs=[repair.what for repair in repairs],
            repaired=[repair.count for repair in repairs],
            repair_places_mm=[repair.places[:_PLACES].tolist() for repair in repairs],
        )
    return piece, after


_PLACES = 20  # places of one kind of repair that are told


def with_surface(piece: Workpiece, mesh: Mesh) -> Workpiece:
    """The workpiece with that surface in place of the one `surface_of` gave."""
    if piece.head is None:
        return piece.but(scan=mesh)
    return piece.but(head=mesh, skin=mesh if piece.skin is piece.head else piece.skin)
