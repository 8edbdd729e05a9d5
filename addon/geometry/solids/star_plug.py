"""A piece of surface set into a solid as a plug, where the solid's own is torn or folded and nothing can be sewn."""

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from ..mesh import Mesh
from .booleans import as_it_is, as_solid
from .rings import dome

_CLEAR = 4  # rings of the shells that bound what is cleared and the plug's foot
_APART = 0.5  # of the depth: how far the cleared hole ends over the plug's foot


def with_plug(
    mesh: Mesh,
    centre: NDArray[np.float64],
    rings: NDArray[np.float64],
    tip: NDArray[np.float64],
    depth: float,
    over: float,
) -> Mesh:
    """The solid with a new surface in place of all that stands before it, closed whatever the old one was like.

    Parameters
    ----------
    mesh : closed
    centre : (3,) the point within or behind it, from which the new surface is seen whole
    rings : (r, k, 3) new vertices from the innermost ring to the outermost; this one lies just under the skin, outside
        the hole: between it and the last but one the new surface comes out of the old
    tip : (3,) new vertex in the middle
    depth : how far under the lowest of the new surface the plug reaches
    over : how far over the highest of it the old one is cleared away

    Returns
    -------
    Mesh : kept vertices first, in their order and bit for bit; colours and columns of new ones are their nearest's.

    Notes
    -----
    What is seen of the solid within the last ring but one goes, from under the new surface outwards; then the plug is
    joined on. Its wall lies inside the solid, so that no faces of both coincide.
    """
    away = np.linalg.norm(rings - centre, axis=2)
    foot = min(float(away.min()), float(np.linalg.norm(tip - centre))) - depth
    hole = between_shells(
        _shell(rings[-2], centre, tip, float(away.max()) + over), _shell(rings[-2], centre, tip, foot + _APART * depth)
    )
    plug = between_shells((rings, tip), _shell(rings[-1], centre, tip, foot))
    solid, cut, added = (
        as_solid(each, None, what) for each, what in ((mesh, "the solid"), (hole, "the hole"), (plug, "the plug"))
    )
    return _kept_first(as_it_is((solid - cut) + added, coloured=False), mesh)


def _kept_first(made: Mesh, old: Mesh) -> Mesh:
    """The mesh with the old one's vertices first, in their order, and with its colours and columns."""
    away, nearest = KDTree(old.vertices).query(made.vertices)
    order = np.argsort(np.where(away == 0, nearest, len(old.vertices)), kind="stable")
    number = np.empty(len(order), np.int32)
    number[order] = np.arange(len(order))
    rows, same = nearest[order], (away == 0)[order]
    vertices = np.where(same[:, None], old.vertices[rows], made.vertices[order])
    return old.remade(vertices, number[made.triangles], rows)


def between_shells(
    outer: tuple[NDArray[np.float64], NDArray[np.float64]], inner: tuple[NDArray[np.float64], NDArray[np.float64]]
) -> Mesh:
    """The closed solid between two domes that end in rings one over the other.

    Parameters
    ----------
    outer, inner : the (r, k, 3) rings of each, as many as it has, from the innermost out, and the (3,) tip in its
        middle; both of k spokes, counter-clockwise seen from outside
    """
    (shell, tip), (floor, base) = outer, inner
    count, first = shell.shape[1], shell.shape[0] * shell.shape[1] + 1
    here = np.arange(count)
    ahead = np.roll(here, -1)
    high, low = first - 1 - count, first + floor.shape[0] * count - count
    wall = [
        np.column_stack([high + here, low + here, high + ahead]),
        np.column_stack([low + here, low + ahead, high + ahead]),
    ]
    faces = [dome(len(shell), count), dome(len(floor), count)[:, ::-1] + first, *wall]
    vertices = [shell.reshape(-1, 3), tip[None], floor.reshape(-1, 3), base[None]]
    return Mesh(np.concatenate(vertices), np.concatenate(faces).astype(np.int32))


def _shell(
    ring: NDArray[np.float64], centre: NDArray[np.float64], tip: NDArray[np.float64], radius: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """A piece of a sphere about the centre, from the direction of the tip to that of a (k, 3) ring: rings and tip."""
    ways = (ring - centre) / np.linalg.norm(ring - centre, axis=1, keepdims=True)
    middle = (tip - centre) / np.linalg.norm(tip - centre)
    share = (np.arange(_CLEAR) + 1.0)[:, None, None] / _CLEAR
    rings = middle + share * (ways - middle)
    rings /= np.linalg.norm(rings, axis=2, keepdims=True)
    return centre + radius * rings, centre + radius * middle
