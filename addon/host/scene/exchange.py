"""The door between Blender's meshes and the arrays of the floors below, and the only place that knows units.

Blender keeps coordinates in 32 bits: half a ten-thousandth of a millimetre on a life-size head. So that a head can
pass through a scene between two steps without changing by a single bit, what the rounding took is kept beside the
points in attributes of their own (`columns.FINE`) and added when they are read again. It is far below anything seen or
printed, so it does no harm after the mesh has been edited by hand.
"""

import bpy
import numpy as np
from mathutils import Matrix
from numpy.typing import NDArray

from ...geometry.cloud import Cloud
from ...geometry.errors import BadMesh
from ...geometry.mesh import Mesh
from . import columns

NORMAL = "canthus_normal"
COLOUR = "Color"
MAP, PAINT, MASK = "Canthus Map", "Canthus Paint", "Canthus Mask"
SHOWN_ONLY = (MAP, PAINT, MASK)
"""Colour attributes that are no colours of the head: values as colours (see `maps`), painted irises (see `looks`), a
mask in hand (see `masks`)."""
MASKED = "relief"
"""The column a mask in hand is read as."""
POINTS_MODIFIER = "Canthus Points"


def millimetres_per_unit(scene: bpy.types.Scene) -> float:
    """Millimetres in one unit of the scene. The host keeps the scale in 32 bits; six digits of it are meant."""
    return float(f"{1000 * scene.unit_settings.scale_length:.6g}")


def stands(thing: bpy.types.Object) -> Matrix:
    """Where an object stands in the world.

    The host leaves `matrix_world` as it was for objects that are hidden, so it is worked out from the object and those
    it hangs on; where something else moves them (a bone, a constraint), the host's word is taken.
    """
    if thing.constraints or (thing.parent and thing.parent_type != "OBJECT"):
        return thing.matrix_world.copy()
    if thing.parent is None:
        return thing.matrix_basis.copy()
    return stands(thing.parent) @ thing.matrix_parent_inverse @ thing.matrix_basis


def placement(thing: bpy.types.Object, unit: float) -> NDArray[np.float64]:
    """(4, 4) transform from the object's own units to millimetres in the scene.

    Raises
    ------
    BadMesh
        The object, or one it hangs on, is mirrored or scaled unevenly.
    """
    matrix = np.array(stands(thing), dtype=np.float64)
    linear = matrix[:3, :3]
    lengths = np.linalg.norm(linear, axis=0)
    if lengths.min() <= 1e-9 * max(1.0, lengths.max()):
        raise BadMesh(f'"{thing.name}" is scaled to nothing: clear its scale')
    if np.linalg.det(linear) < 0:
        raise BadMesh(f'"{thing.name}" is mirrored (negative scale): apply its scale and flip its normals first')
    directions = linear / lengths
    factors = ", ".join(f"{each:.3g}" for each in lengths)
    if np.ptp(lengths) > 1e-4 * lengths.max() or np.abs(directions.T @ directions - np.eye(3)).max() > 1e-4:
        raise BadMesh(f'"{thing.name}" is scaled unevenly ({factors}): apply its scale')
    matrix[:3] *= unit
    return matrix


def points_of(mesh: bpy.types.Mesh) -> NDArray[np.float64]:
    """(n, 3) positions in mesh units, with the digits kept beside them."""
    points = np.empty((len(mesh.vertices), 3), np.float32)
    mesh.vertices.foreach_get("co", points.ravel())
    return columns.with_rest(mesh, points, "")


def triangles_of(mesh: bpy.types.Mesh) -> NDArray[np.int32]:
    """(m, 3) corners of every face; faces with more than three corners are cut as the host draws them."""
    if len(mesh.loops) == 3 * len(mesh.polygons):  # all of them triangles: as they are kept, ten times as quick
        corners = np.empty(len(mesh.loops), np.int32)
        mesh.attributes[".corner_vert"].data.foreach_get("value", corners)
        return corners.reshape(-1, 3)
    mesh.calc_loop_triangles()
    triangles = np.empty((len(mesh.loop_triangles), 3), np.int32)
    mesh.loop_triangles.foreach_get("vertices", triangles.ravel())
    return triangles


def read_object(thing: bpy.types.Object, unit: float) -> Mesh | Cloud:
    """What an object holds, in millimetres of the scene: a mesh, or a cloud where it has no faces.

    Raises
    ------
    BadMesh
        Not a mesh object, empty, mirrored or unevenly scaled, or changed by modifiers that are not applied.
    """
    if thing.type != "MESH":
        raise BadMesh(f'"{thing.name}" is not a mesh: choose a mesh object, or convert it')
    live = [each.name for each in thing.modifiers if each.show_viewport and each.name != POINTS_MODIFIER]
    if live:
        raise BadMesh(f'"{thing.name}" is changed by the modifier {live[0]}: apply it, or switch it off')
    if thing.mode == "EDIT":
        thing.update_from_editmode()
    mesh = thing.data
    if not len(mesh.vertices):
        raise BadMesh(f'"{thing.name}" is empty: it has no vertices')
    matrix = placement(thing, unit)
    found: Mesh | Cloud
    if len(mesh.polygons):
        found = Mesh(points_of(mesh), triangles_of(mesh), _colours(mesh), _columns(mesh))
    else:
        found = Cloud(points_of(mesh), _normals(mesh), _colours(mesh), _columns(mesh), _sensors(thing))
    return found if np.array_equal(matrix, np.eye(4)) else found.moved(matrix)


def new_data(name: str, thing: Mesh | Cloud, unit: float) -> bpy.types.Mesh:
    """A new mesh datablock that holds `thing`, in units of the scene."""
    mesh = bpy.data.meshes.new(name)
    mesh.vertices.add(len(thing.vertices if isinstance(thing, Mesh) else thing.points))
    write_points(mesh, thing, unit)
    if isinstance(thing, Mesh):
        _join(mesh, thing.triangles)
    if thing.colours is not None:
        rgba = np.full((len(thing.colours), 4), 255, np.uint8)
        rgba[:, :3] = thing.colours
        colour = mesh.color_attributes.new(COLOUR, "BYTE_COLOR", "POINT")
        colour.data.foreach_set("color_srgb", (rgba / np.float32(255)).astype(np.float32).ravel())
        mesh.color_attributes.active_color = mesh.color_attributes[COLOUR]
    for name_of, values in thing.columns.items():
        columns.write(mesh, name_of, np.asarray(values))
    mesh.update()
    return mesh


def write_points(mesh: bpy.types.Mesh, thing: Mesh | Cloud, unit: float) -> None:
    """Give a mesh of as many vertices the places, and a cloud's normals, in units of the scene."""
    places = (thing.vertices if isinstance(thing, Mesh) else thing.points) / unit
    mesh.attributes["position"].data.foreach_set("vector", places.astype(np.float32).ravel())
    columns.keep_rest(mesh, places, "")
    if isinstance(thing, Cloud) and thing.normals is not None:
        normals = mesh.attributes.get(NORMAL) or mesh.attributes.new(NORMAL, "FLOAT_VECTOR", "POINT")
        normals.data.foreach_set("vector", thing.normals.astype(np.float32).ravel())
        columns.keep_rest(mesh, thing.normals, f"_{NORMAL}")


def _join(mesh: bpy.types.Mesh, triangles: NDArray[np.int32]) -> None:
    """Build the faces in bulk, far faster than `from_pydata`. Attributes named with a dot are the host's own."""
    if not len(triangles):
        return
    mesh.loops.add(3 * len(triangles))
    mesh.attributes[".corner_vert"].data.foreach_set("value", triangles.ravel().astype(np.int32))
    mesh.polygons.add(len(triangles))
    mesh.polygons.foreach_set("loop_start", np.arange(0, 3 * len(triangles), 3, dtype=np.int32))
    mesh.update(calc_edges=True)


def _columns(mesh: bpy.types.Mesh) -> dict[str, NDArray[np.generic]]:
    """What each vertex carries, a mask in hand among it."""
    found = columns.read(mesh)
    return {**found, MASKED: mask_of(mesh)} if MASK in mesh.color_attributes else found


def mask_of(mesh: bpy.types.Mesh) -> NDArray[np.float64]:
    """(n,) how white the mask is that is being painted, 0 to 1 in thousandths: the host's white is 0.99997."""
    rgba = np.empty((len(mesh.vertices), 4), np.float32)
    mesh.color_attributes[MASK].data.foreach_get("color_srgb", rgba.ravel())
    return np.asarray(rgba[:, :3].mean(axis=1).clip(0, 1).round(3), dtype=np.float64)


def _colours(mesh: bpy.types.Mesh) -> NDArray[np.uint8] | None:
    """(n, 3) sRGB bytes of the active colour attribute, where it has one colour a vertex; a map is no colour."""
    own = [each for each in mesh.color_attributes if each.domain == "POINT" and each.name not in SHOWN_ONLY]
    active = mesh.color_attributes.active_color
    if not own:
        return None
    colour = next((each for each in own if active is not None and each.name == active.name), own[0])
    rgba = np.empty((len(mesh.vertices), 4), np.float32)
    colour.data.foreach_get("color_srgb", rgba.ravel())
    colours: NDArray[np.uint8] = np.rint(rgba[:, :3].clip(0, 1) * 255).astype(np.uint8)
    return colours


def _normals(mesh: bpy.types.Mesh) -> NDArray[np.float64] | None:
    if NORMAL not in mesh.attributes:
        return None
    normals = np.empty((len(mesh.vertices), 3), np.float32)
    mesh.attributes[NORMAL].data.foreach_get("vector", normals.ravel())
    return columns.with_rest(mesh, normals, f"_{NORMAL}")


def _sensors(thing: bpy.types.Object) -> NDArray[np.float64] | None:
    kept = thing.get("canthus_sensors")
    return None if kept is None else np.array(kept, dtype=np.float64).reshape(-1, 3)
