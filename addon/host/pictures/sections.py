"""Sections for the pictures: the parts cut through an eye, with the cut faces in their own colour."""

import bpy
import numpy as np
from numpy.typing import NDArray

from ...geometry.mesh import Mesh
from ...steps.workpiece import Workpiece
from ..scene import materials


def inner_halves(piece: Workpiece, origin: NDArray[np.float64], outward: float) -> dict[str, Mesh]:
    """Each part's half on the inner side of an upright cut from front to back through (3,) `origin`, `outward` being 1
    where the sitter's left is taken away, -1 where the right is; parts wholly outside, and what is not closed and so
    cannot be cut, are left out: the check says what is wrong with those.
    """
    from ...geometry.measures import is_watertight
    from ...geometry.solids.booleans import split  # brings in the solid library, which enabling must not wait for

    normal = np.array([outward, 0.0, 0.0])
    halves = {}
    for name, mesh in piece.all_parts().items():
        across = (mesh.vertices[:, 0] - origin[0]) * outward
        if across.max() <= 0:
            halves[name] = mesh
        elif across.min() < 0 and is_watertight(mesh):
            halves[name] = split(mesh, origin, normal)[1]
    return halves


def paint_plane(data: bpy.types.Mesh, name: str, origin: NDArray[np.float64], normal: NDArray[np.float64]) -> None:
    """Give the faces that lie in the cutting plane, and look along its (3,) unit `normal`, the colour in which the part
    of that name is cut.
    """
    data.materials.append(materials.cut(name))
    middles = np.empty((len(data.polygons), 3), np.float32)
    normals = np.empty_like(middles)
    data.polygons.foreach_get("center", middles.ravel())
    data.polygons.foreach_get("normal", normals.ravel())
    heights = middles.astype(np.float64) @ normal - origin @ normal
    tolerance = 1e-4 * max(1.0, float(np.abs(origin).max()))
    in_plane = (np.abs(heights) < tolerance) & (normals @ normal > 0.999)
    data.polygons.foreach_set("material_index", in_plane.astype(np.int32))
    data.update()
