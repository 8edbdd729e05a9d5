"""Fewer triangles for the same shape."""

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from ..distances.closest import ClosestPoint
from ..errors import BadMesh, MissingLibrary
from ..measures import is_watertight
from ..mesh import Mesh
from ..progress import SILENT, Progress
from .repairing import repaired


def reduced(mesh: Mesh, triangles: int) -> Mesh:
    """The mesh with about so many triangles, those kept where the shape needs them.

    Parameters
    ----------
    mesh : Mesh
    triangles : wanted; a mesh that has no more is given back as it is

    Raises
    ------
    BadMesh
        A closed mesh would not stay closed with so few triangles.
    MissingLibrary
        The bundled library that collapses edges is not there.

    Notes
    -----
    Edge collapses by quadric error (Garland and Heckbert 1997, doi 10.1145/258734.258849) as fast-simplification does
    them. It walks the triangles in the order they are given: sorted by their lowest vertex, which for one moment of
    sorting spares a tenth of its time. Colours and columns come from the nearest vertex of the given mesh.
    """
    if len(mesh.triangles) <= triangles:
        return mesh
    try:
        from fast_simplification import simplify
    except ImportError:
        raise MissingLibrary("fast-simplification is not installed: reduce needs it") from None
    middle = mesh.vertices.mean(axis=0)
    a, b, c = mesh.triangles.T
    order = np.argsort(np.minimum(np.minimum(a, b), c), kind="stable")
    given = mesh.triangles.take(order, axis=0)
    points, faces = simplify(mesh.vertices - middle, given, target_count=triangles, agg=5.0)
    found = Mesh(points + middle, faces)
    if not (whole := _whole(faces)).all():
        found = found.kept(whole)
    if not is_watertight(found) and is_watertight(mesh):
        found, _ = repaired(found)  # a collapse may press two sheets into one edge
        if not is_watertight(found):
            raise BadMesh(f"with {triangles} triangles the mesh does not stay closed: ask for more")
    if mesh.colours is None and not mesh.columns:
        return found
    near = cKDTree(mesh.vertices, balanced_tree=False).query(found.vertices, workers=-1)[1]
    return mesh.remade(found.vertices, found.triangles, near)


def _whole(faces: NDArray[np.int32]) -> NDArray[np.bool_]:
    """Triangles with three different corners."""
    a, b, c = faces.T
    whole: NDArray[np.bool_] = (a != b) & (b != c) & (c != a)
    return whole


def reduced_within(mesh: Mesh, deviation: float, progress: Progress = SILENT) -> Mesh:
    """The mesh with as few triangles as keep it within a deviation, found by halving.

    Parameters
    ----------
    mesh : Mesh
    deviation : farthest that a vertex of either mesh may lie from the other surface, millimetres
    progress : told how far the work is
    """
    best = mesh
    low, high = 0.0, 1.0  # shares of the triangles: too few, enough
    for turn in range(6):
        share = (low * high) ** 0.5 if low else high / 4
        try:
            trial = reduced(mesh, max(4, int(share * len(mesh.triangles))))
            enough = farthest_apart(mesh, trial) <= deviation
        except BadMesh:
            enough = False
        if enough:
            best, high = trial, share
        else:
            low = share
        progress((turn + 1) / 6, "weighing triangles against deviation")
    return best


def farthest_apart(one: Mesh, other: Mesh) -> float:
    """The greatest distance from a vertex of either mesh to the other's surface, millimetres."""
    return max(
        float(ClosestPoint(one).query(other.vertices)[0].max()),
        float(ClosestPoint(other).query(one.vertices)[0].max()),
    )
