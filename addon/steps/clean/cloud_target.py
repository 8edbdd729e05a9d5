"""Which cloud a step of this stage works on."""

import numpy as np
from numpy.typing import NDArray

from ...geometry.cloud import Cloud
from ...geometry.errors import NotReady
from ...geometry.mesh import Mesh
from ..workpiece import Workpiece


def cloud_of(piece: Workpiece, step: str) -> Cloud:
    """The scan as a cloud: the vertices, where it came as a mesh."""
    if piece.scan is None:
        raise NotReady(f"{step} works on a scan and there is none: load one first")
    if isinstance(piece.scan, Mesh):
        from ...geometry.clouds.normals import vertex_normals

        mesh = piece.scan
        return Cloud(mesh.vertices, vertex_normals(mesh), mesh.colours, mesh.columns)
    return piece.scan


def outward(scan: Cloud, normals: NDArray[np.float64]) -> NDArray[np.float64]:
    """Found normals with their signs: by the sensors, by the scan's own normals, or carried along the cloud."""
    from ...geometry.clouds.orientation import along_a_tree, towards_sensors
    from ...geometry.neighbours import arranged

    if scan.sensors is not None and "view" in scan.columns:
        return towards_sensors(scan.points, normals, scan.sensors, scan.columns["view"].astype(np.int64))
    if scan.normals is not None:
        against = np.einsum("ij,ij->i", normals, scan.normals) < 0
        return np.where(against[:, None], -normals, normals)
    held = arranged(scan.points)
    _, rows = held.nearest(8)
    return along_a_tree(held.points, normals[held.rows], rows)[held.back]
