"""Sections for the pictures: the parts cut through an eye, with the cut faces in their own colour."""

import bpy
import numpy as np

from ..geometry.mesh import Mesh
from ..steps.workpiece import Eye, Workpiece
from . import materials


def inner_halves(piece: Workpiece, eye: Eye, outward: float) -> dict[str, Mesh]:
    """Each part's half that lies towards the nose from the eye's centre; parts wholly outside are left out."""
    from ..geometry.booleans import split  # brings in the solid library, which enabling must not wait for

    origin = np.asarray(eye.centre)
    normal = np.array([outward, 0.0, 0.0])
    halves = {}
    for name, mesh in piece.all_parts().items():
        across = (mesh.vertices[:, 0] - origin[0]) * outward
        if across.max() <= 0:
            halves[name] = mesh
        elif across.min() < 0:
            halves[name] = split(mesh, origin, normal)[1]
    return halves


def paint_cut(data: bpy.types.Mesh, at: float, outward: float) -> None:
    """Give the faces that lie in the cutting plane x = `at` the cut's colour."""
    data.materials.append(materials.cut())
    middles = np.empty((len(data.polygons), 3), np.float32)
    normals = np.empty_like(middles)
    data.polygons.foreach_get("center", middles.ravel())
    data.polygons.foreach_get("normal", normals.ravel())
    tolerance = 1e-4 * max(1.0, abs(at))
    in_plane = (np.abs(middles[:, 0] - at) < tolerance) & (normals[:, 0] * outward > 0.999)
    data.polygons.foreach_set("material_index", in_plane.astype(np.int32))
    data.update()
