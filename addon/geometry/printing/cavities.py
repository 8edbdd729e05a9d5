"""The closed hollows of a solid, and the making of one: an inner face at a set wall that resin runs out of."""

import numpy as np

from ..distances.closest import ClosestPoint
from ..errors import NotPossible
from ..measures import components, volume
from ..mesh import Mesh
from ..progress import SILENT, Progress
from ..solids.settle import settled
from .offset import drawn_to, inset, opened


def inner_surface(
    mesh: Mesh,
    wall: float,
    feature: float,
    spacing: float,
    progress: Progress = SILENT,
    closest: ClosestPoint | None = None,
) -> Mesh:
    """The face of the hollow inside a closed mesh, facing outwards as a solid of its own.

    Parameters
    ----------
    mesh : a closed mesh
    wall : millimetres; no place of the face is nearer to the mesh
    feature : width of the narrowest passage or pocket of the hollow, millimetres; corners are rounded by half of it
    spacing : step of the grid it is found on, millimetres, at most a quarter of the wall
    closest : the mesh's own, where it is at hand

    Returns
    -------
    Mesh, closed, of one or more pieces; without triangles where the wall leaves no hollow of that width.

    Notes
    -----
    An opening of the offset solid by a ball: the surface at wall + feature / 2 within, grown back by feature / 2.
    Resin would stay in passages narrower than the ball. Where the ball touches, the face is drawn to the exact wall.
    """
    search = progress.stretch(0.0, 0.7)
    face = opened(mesh, wall, feature / 2, spacing, search) if feature else inset(mesh, wall, spacing, search)
    progress(0.7, "drawing the face to the exact wall")
    return _large_enough(drawn_to(face, closest or ClosestPoint(mesh), wall, spacing / 2), feature)


def _large_enough(surface: Mesh, feature: float) -> Mesh:
    """The pieces that hold more than a few balls of the feature's width: a smaller hollow saves nothing."""
    labels = components(surface)
    least = 8 * feature**3
    kept = [label for label in range(labels.max(initial=-1) + 1) if volume(surface.kept(labels == label)) > least]
    return surface.kept(np.isin(labels, kept))


def hollowed(mesh: Mesh, inner: Mesh) -> Mesh:
    """The solid less an inner solid that lies wholly within it: its face turned inwards, no cutting needed."""
    if not len(inner.triangles):
        raise NotPossible("there is nothing to take out: the wall leaves no hollow")
    vertices = np.concatenate([mesh.vertices, inner.vertices])
    triangles = np.concatenate([mesh.triangles, inner.triangles[:, ::-1] + np.int32(len(mesh.vertices))])
    colours = None
    if mesh.colours is not None:
        plain = np.rint(mesh.colours.mean(axis=0)).astype(np.uint8)
        colours = np.concatenate([mesh.colours, np.tile(plain, (len(inner.vertices), 1))])
    return settled(Mesh(vertices, triangles, colours))


def closed_cavities(mesh: Mesh) -> list[Mesh]:
    """The hollows of a closed mesh that nothing leads into, the largest first, each facing outwards as a solid.

    Notes
    -----
    A connected piece of the surface that bounds a void faces into it: its volume by itself is negative.
    """
    labels = components(mesh)
    pieces = [mesh.kept(labels == label) for label in range(labels.max(initial=-1) + 1)]
    voids = [Mesh(piece.vertices, piece.triangles[:, ::-1]) for piece in pieces if volume(piece) < 0]
    return sorted(voids, key=volume, reverse=True)
