"""Values a vertex, kept with a mesh of the host to the last bit: what a cloud or a mesh carries as its columns."""

import bpy
import numpy as np
from numpy.typing import NDArray

FINE = (".canthus_fine", ".canthus_finer")
"""What rounding to 32 bits took, and what rounding that took: the three together are the 64 bits they came from."""
_KINDS = {"FLOAT": ("value", np.float32), "INT": ("value", np.int32), "BOOLEAN": ("value", np.bool_)}


def write(mesh: bpy.types.Mesh, name: str, values: NDArray[np.generic]) -> None:
    """Store one value a vertex under `name`, replacing what was there; nothing is rounded."""
    remove(mesh, name)
    if values.dtype == np.bool_:
        mesh.attributes.new(name, "BOOLEAN", "POINT").data.foreach_set("value", values)
    elif np.issubdtype(values.dtype, np.integer):
        mesh.attributes.new(name, "INT", "POINT").data.foreach_set("value", values.astype(np.int32))
    else:
        rough = values.astype(np.float32)
        mesh.attributes.new(name, "FLOAT", "POINT").data.foreach_set("value", rough)
        keep_rest(mesh, values.astype(np.float64), f"_{name}")


def read(mesh: bpy.types.Mesh) -> dict[str, NDArray[np.generic]]:
    """All of them by name; what the host keeps for itself is left out."""
    found: dict[str, NDArray[np.generic]] = {}
    for name in names(mesh):
        found[name] = _values(mesh.attributes[name])
        if mesh.attributes[name].data_type == "FLOAT" and f"{FINE[0]}_{name}" in mesh.attributes:
            found[name] = with_rest(mesh, found[name], f"_{name}")
    return found


def names(mesh: bpy.types.Mesh) -> list[str]:
    """Names of what is kept a vertex, of the kinds written here."""
    kept = (each for each in mesh.attributes if each.domain == "POINT" and each.data_type in _KINDS)
    return [each.name for each in kept if not each.name.startswith(".")]


def remove(mesh: bpy.types.Mesh, name: str) -> None:
    """Take a column away, with what was kept of its rounding."""
    for each in (name, *(f"{fine}_{name}" for fine in FINE)):
        if each in mesh.attributes:
            mesh.attributes.remove(mesh.attributes[each])


def keep_rest(mesh: bpy.types.Mesh, values: NDArray[np.float64], ending: str) -> None:
    """Keep what rounding (n,) or (n, 3) values to 32 bits takes, under the names of `FINE` with an ending."""
    kind, member = ("FLOAT", "value") if values.ndim == 1 else ("FLOAT_VECTOR", "vector")
    rest = values - values.astype(np.float32)
    for name in FINE:
        if name + ending in mesh.attributes:
            mesh.attributes.remove(mesh.attributes[name + ending])
        if not rest.any():
            continue
        rough = rest.astype(np.float32)
        mesh.attributes.new(name + ending, kind, "POINT").data.foreach_set(member, rough.ravel())
        rest = rest - rough


def with_rest(mesh: bpy.types.Mesh, rough: NDArray[np.float32], ending: str) -> NDArray[np.float64]:
    """32-bit values with what was kept of their rounding added, the least first, so that no bit is lost again."""
    kind, member = ("FLOAT", "value") if rough.ndim == 1 else ("FLOAT_VECTOR", "vector")
    whole = np.zeros(rough.shape)
    for name in reversed(FINE):
        kept = mesh.attributes.get(name + ending)
        if kept is not None and kept.data_type == kind and len(kept.data) == len(rough):
            rest = np.empty_like(rough)
            kept.data.foreach_get(member, rest.ravel())
            whole += rest
    return whole + rough


def _values(attribute: bpy.types.Attribute) -> NDArray[np.generic]:
    member, kind = _KINDS[attribute.data_type]
    values = np.empty(len(attribute.data), kind)
    attribute.data.foreach_get(member, values)
    return values
