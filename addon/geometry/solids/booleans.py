"""Solids joined, cut and parted: closed in, closed out.

Every result is welded and keeps its shape when its coordinates are written as 32-bit floats, as STL does: no two
vertices fall on one place, so that a reader that welds by position finds the surface closed as well.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..errors import BadMesh, NotPossible
from ..measures import needs_closed
from ..mesh import Mesh
from .settle import settled

if TYPE_CHECKING:
    from manifold3d import Manifold

Place = NDArray[np.float64]


def union(*meshes: Mesh) -> Mesh:
    """All of the solids as one. Colours are kept; uncoloured parents take the mean of the coloured ones."""
    return _combined("Add", meshes)


def difference(mesh: Mesh, *tools: Mesh) -> Mesh:
    """The solid with the tools cut out of it. Cut faces take the tool's colours, else the mean of the solid's."""
    return _combined("Subtract", (mesh, *tools))


def intersection(*meshes: Mesh) -> Mesh:
    """What all the solids have in common; a mesh without triangles where they share nothing."""
    return _combined("Intersect", meshes)


def shared_by_pairs(meshes: Sequence[Mesh], pairs: Sequence[tuple[int, int]]) -> list[tuple[float, Place]]:
    """How much the two solids of each pair have in common, and about where; each solid is made ready only once.

    Returns
    -------
    Cubic millimetres, and the (3,) middle of the corners of what is shared, for each pair. No mesh is made of it: where
    faces lie on each other it would be slivers that fall together when they are rounded.
    """
    solids = {
        number: as_solid(meshes[number], None, f"solid {number + 1}")
        for number in sorted({number for pair in pairs for number in pair})
    }
    found = []
    for one, other in pairs:
        shared = solids[one] ^ solids[other]
        corners = np.asarray(shared.to_mesh64().vert_properties)[:, :3]
        found.append((float(shared.volume()), corners.mean(axis=0) if len(corners) else np.zeros(3)))
    return found


def split(mesh: Mesh, origin: ArrayLike, normal: ArrayLike) -> tuple[Mesh, Mesh]:
    """The solid parted by a plane: (the side the normal points to, the other), each closed with a flat face.

    Parameters
    ----------
    mesh : a closed mesh
    origin, normal : (3,) a point of the plane and its direction, which needs no unit length

    Raises
    ------
    BadMesh
        The mesh is not closed.
    NotPossible
        The normal has no length.
    """
    direction = np.asarray(normal, dtype=np.float64)
    length = float(np.linalg.norm(direction))
    if length == 0:
        raise NotPossible("the plane's normal has no length: give a direction")
    direction = direction / length
    offset = float(direction @ np.asarray(origin, dtype=np.float64))
    above, below = as_solid(mesh, plain_colour((mesh,)), "the solid").split_by_plane(tuple(direction), offset)
    coloured = mesh.colours is not None
    return as_mesh(above, coloured), as_mesh(below, coloured)


def _combined(operation: str, meshes: tuple[Mesh, ...]) -> Mesh:
    from manifold3d import Manifold, OpType

    if not meshes:
        raise BadMesh("no solids to combine: give at least one")
    plain = plain_colour(meshes)
    solids = [
        as_solid(mesh, plain, "the solid" if number == 0 else f"solid {number + 1}")
        for number, mesh in enumerate(meshes)
    ]
    return as_mesh(Manifold.batch_boolean(solids, getattr(OpType, operation)), plain is not None)


def plain_colour(meshes: tuple[Mesh, ...]) -> NDArray[np.float64] | None:
    """The colour of what has none of its own: the mean of what has; None where nothing is coloured."""
    means = [mesh.colours.mean(axis=0) for mesh in meshes if mesh.colours is not None and len(mesh.colours)]
    return np.mean(means, axis=0) if means else None


def as_solid(mesh: Mesh, plain: NDArray[np.float64] | None, what: str) -> "Manifold":
    """The mesh as the library's solid, named `what` where it is refused; coloured `plain` where it has no colours and
    `plain` is given.
    """
    from manifold3d import Error, Manifold, Mesh64

    needs_closed(mesh, what)
    properties = mesh.vertices
    if plain is not None:
        colours = np.broadcast_to(plain, mesh.vertices.shape) if mesh.colours is None else mesh.colours
        properties = np.column_stack([mesh.vertices, colours.astype(np.float64)])
    solid = Manifold(
        Mesh64(np.ascontiguousarray(properties, np.float64), np.ascontiguousarray(mesh.triangles, np.uint64))
    )
    if solid.status() != Error.NoError:
        raise BadMesh(f"{what} cannot be used as a solid ({solid.status().name}): close it")
    return solid


def as_mesh(solid: "Manifold", coloured: bool) -> Mesh:
    """The solid as a mesh of shared vertices that stay apart as 32-bit floats."""
    return settled(as_it_is(solid, coloured))


def as_it_is(solid: "Manifold", coloured: bool) -> Mesh:
    """The solid as a mesh of shared vertices in full precision: those of its parents that are left kept their bits."""
    found = solid.to_mesh64()
    properties, triangles = np.asarray(found.vert_properties), np.asarray(found.tri_verts, dtype=np.int64)
    welded = np.arange(len(properties))
    welded[np.asarray(found.merge_from_vert, dtype=np.int64)] = np.asarray(found.merge_to_vert, dtype=np.int64)
    triangles = welded[triangles]
    used = np.zeros(len(properties), dtype=bool)
    used[triangles] = True
    renumbered = np.cumsum(used, dtype=np.int32) - 1
    colours = np.clip(np.rint(properties[used, 3:6]), 0, 255).astype(np.uint8) if coloured else None
    return Mesh(properties[used, :3], renumbered.take(triangles), colours)
