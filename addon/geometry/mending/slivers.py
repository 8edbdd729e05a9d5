"""Triangles without area though their corners differ: caps flipped, needles collapsed."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ..mesh import Mesh

FLAT = 1e-6
"""Height over longest edge up to which a triangle has no area: what single-precision coordinates leave of a line."""


def flat_triangles(mesh: Mesh) -> NDArray[np.int64]:
    """Rows of the triangles without area, those that name one vertex twice left out."""
    ends = mesh.vertices.take(mesh.triangles[:, [1, 2, 0]], axis=0) - mesh.corners
    doubled = np.linalg.norm(np.cross(ends[:, 0], ends[:, 1]), axis=1)
    longest = (ends**2).sum(axis=2).max(axis=1)
    a, b, c = mesh.triangles.T
    return np.flatnonzero((doubled <= FLAT * longest) & (a != b) & (b != c) & (c != a))


def without_slivers(mesh: Mesh) -> tuple[Mesh, NDArray[np.float64]]:
    """The mesh without triangles of no area, and (k, 3) where the mended ones lay, millimetres.

    Parameters
    ----------
    mesh : edges of two triangles at most, which run along them opposite ways

    Notes
    -----
    In a cap one corner lies on the longest edge: that edge is flipped, and where it is a rim the cap is left out. In a
    needle two corners as good as coincide: they are made one where that keeps the surface a surface (the link
    condition: Dey, Edelsbrunner, Guha and Nekhayev 1999). One that can be mended neither way stays.
    """
    places = []
    for _ in range(_ROUNDS):  # a flip may leave another one beside it
        flat = flat_triangles(mesh)
        if not len(flat):
            break
        patch = _Patch(mesh, flat)
        mended = [mesh.corners[row].mean(axis=0) for row in flat.tolist() if patch.mend(row)]
        if not mended:
            break
        places += mended
        mesh = patch.mesh()
    return mesh, np.array(places).reshape(-1, 3)


_ROUNDS = 20
_NEEDLE = 1e-3  # shortest over longest edge up to which two corners are made one
_RIM = -1  # stands for what lies beyond an open edge


class _Patch:
    """The triangles within two rings of some flat ones, which can be changed one by one."""

    def __init__(self, mesh: Mesh, flat: NDArray[np.int64]) -> None:
        self._whole = mesh
        near = mesh.vertices_of(flat)
        for _ in range(2):
            rows = np.flatnonzero(mesh.triangles_at(near))
            near = mesh.vertices_of(rows)
        self._corners = {row: tuple(mesh.triangles[row].tolist()) for row in rows.tolist()}
        self._edges: dict[tuple[int, int], int] = {}
        self._at: dict[int, set[int]] = {}
        for row in self._corners:
            self._add(row)

    def mesh(self) -> Mesh:
        """The whole mesh as it is now, without vertices no longer used."""
        triangles = self._whole.triangles.copy()
        kept = np.ones(len(triangles), bool)
        for row, corners in self._corners.items():
            kept[row] = len(corners) == 3
            if kept[row]:
                triangles[row] = corners
        return replace(self._whole, triangles=triangles).kept(kept)

    def mend(self, row: int) -> bool:
        """Flip or collapse a flat triangle, unless it went or became whole with another; False where it stays."""
        if len(self._corners[row]) != 3:
            return True
        corners = np.array(self._corners[row])
        places = self._whole.vertices[corners]
        ends = places[[1, 2, 0]] - places
        lengths = np.linalg.norm(ends, axis=1)
        if np.linalg.norm(np.cross(ends[0], ends[1])) > FLAT * lengths.max() ** 2:
            return True
        if lengths.min() <= _NEEDLE * lengths.max():
            first = int(lengths.argmin())
            return self._collapse(int(corners[first]), int(corners[(first + 1) % 3]))
        first = int(lengths.argmax())
        return self._flip(row, *(int(corners[(first + step) % 3]) for step in range(3)))

    def _flip(self, row: int, a: int, b: int, c: int) -> bool:
        """Flip the edge from a to b of a cap whose third corner, c, lies on it."""
        other = self._edges.get((b, a))
        if other is None:
            self._remove(row)
            return True
        (d,) = set(self._corners[other]) - {a, b}
        if d == c or (c, d) in self._edges or (d, c) in self._edges:
            return False
        for each, corners in ((row, (c, a, d)), (other, (b, c, d))):
            self._remove(each)
            self._corners[each] = corners
        self._add(row)
        self._add(other)
        return True

    def _collapse(self, a: int, b: int) -> bool:
        """Make vertex b one with a."""
        sides = [self._edges.get((a, b)), self._edges.get((b, a))]
        across = {_RIM if side is None else next(iter(set(self._corners[side]) - {a, b})) for side in sides}
        if self._around(a) & self._around(b) != across:
            return False
        for side in sides:
            if side is not None:
                self._remove(side)
        for row in list(self._at[b]):
            corners = tuple(a if corner == b else corner for corner in self._corners[row])
            self._remove(row)
            self._corners[row] = corners
            self._add(row)
        return True

    def _around(self, vertex: int) -> set[int]:
        """The vertices that share an edge with one, and `_RIM` where an edge of it is open."""
        found = {corner for row in self._at[vertex] for corner in self._corners[row]} - {vertex}
        open_ = any(((vertex, each) in self._edges) != ((each, vertex) in self._edges) for each in found)
        return found | {_RIM} if open_ else found

    def _add(self, row: int) -> None:
        a, b, c = self._corners[row]
        self._edges |= {(a, b): row, (b, c): row, (c, a): row}
        for corner in (a, b, c):
            self._at.setdefault(corner, set()).add(row)

    def _remove(self, row: int) -> None:
        a, b, c = self._corners[row]
        for edge in ((a, b), (b, c), (c, a)):
            if self._edges.get(edge) == row:
                del self._edges[edge]
        for corner in (a, b, c):
            self._at[corner].discard(row)
        self._corners[row] = ()
