"""Faults of a mesh as scanners and converters leave them, mended one kind after another, and every mending listed."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..linked import linked_pieces
from ..measures import edge_faults, triangle_areas, volume
from ..mesh import Mesh
from .edge_groups import edge_groups
from .parting_sheets import parted
from .slivers import without_slivers
from .welding import welded


@dataclass(frozen=True, eq=False)
class Repair:
    """One kind of fault that was mended: what was done, to how many, and where (k, 3), millimetres."""

    what: str
    count: int
    places: NDArray[np.float64]

    def __str__(self) -> str:
        x, y, z = self.places[0]
        return f"{self.count} {self.what}, the first near ({x:.1f}, {y:.1f}, {z:.1f})"


def repaired(mesh: Mesh) -> tuple[Mesh, list[Repair]]:
    """The mesh without coinciding vertices, empty, doubled or flat triangles, flipped faces, edges of many triangles.

    Parameters
    ----------
    mesh : any triangles; open rims stay open, `patching` is for them

    Returns
    -------
    The mesh, itself where there is nothing to mend, and what was mended in the order it was done.
    """
    steps = (_welded, _without_empty, _without_doubled, _turned, _parted, _without_flat, _outward)
    done = []
    for step in steps:
        mesh, repair = step(mesh)
        if repair.count:
            done.append(repair)
    return mesh, done


def _welded(mesh: Mesh) -> tuple[Mesh, Repair]:
    """Vertices at exactly one place made one; the triangles that this empties are counted with them."""
    after = welded(mesh)
    fewer = len(mesh.vertices) - len(after.vertices)
    if not fewer:
        return mesh, _nothing()
    order = np.lexsort(mesh.vertices.T)
    same = (mesh.vertices[order][1:] == mesh.vertices[order][:-1]).all(axis=1)
    return after, Repair("coinciding vertices made one", fewer, mesh.vertices[order[1:][same]])


def _without_empty(mesh: Mesh) -> tuple[Mesh, Repair]:
    """Triangles that name one vertex twice left out."""
    a, b, c = mesh.triangles.T
    empty = (a == b) | (b == c) | (c == a)
    if not empty.any():
        return mesh, _nothing()
    return mesh.kept(~empty), Repair("empty triangles left out", int(empty.sum()), mesh.vertices[a[empty]])


def _without_doubled(mesh: Mesh) -> tuple[Mesh, Repair]:
    """Of triangles over the same three vertices one is kept, or none where as many face one way as the other."""
    low, middle, high = np.sort(mesh.triangles, axis=1).T.astype(np.int64)
    pair = low * len(mesh.vertices) + middle
    order = np.lexsort((high, pair))
    fresh = np.ones(len(order), bool)
    fresh[1:] = (pair[order][1:] != pair[order][:-1]) | (high[order][1:] != high[order][:-1])
    if fresh.all():
        return mesh, _nothing()
    which = np.empty(len(order), np.int64)
    which[order] = np.cumsum(fresh) - 1
    counts = np.bincount(which)
    a, b, c = mesh.triangles.T
    facing = np.where((a < b) ^ (b < c) ^ (c < a), 1, -1)  # even or odd order of the corners
    facing_sum = np.bincount(which, weights=facing)
    first = np.zeros(len(which), bool)
    first[np.unique(which * 2 + (facing > 0), return_index=True)[1]] = True  # the first of each way round
    kept = (counts[which] == 1) | (first & (np.sign(facing_sum)[which] == facing))
    return mesh.kept(kept), Repair("doubled triangles left out", int((~kept).sum()), mesh.corners[~kept].mean(axis=1))


def _turned(mesh: Mesh) -> tuple[Mesh, Repair]:
    """Triangles that run against their neighbours turned round, the fewer of each piece.

    Each triangle stands twice in a graph, as it is and turned; neighbours are linked the way they agree. A piece where
    both stands hang together has one side only and is left.
    """
    edges = edge_groups(mesh)
    size = len(mesh.triangles)
    one, other = edges.pairs.T // 3
    starts = edges.ends[edges.pairs, 0]
    same = starts[:, 0] == starts[:, 1]  # both run the edge the same way: they disagree
    if not same.any():
        return mesh, _nothing()
    start = np.concatenate([one, one + size])
    end = np.concatenate([np.where(same, other + size, other), np.where(same, other, other + size)])
    label = linked_pieces(start, end, 2 * size)
    plain, reverse = label[:size], label[size:]
    weight = np.bincount(plain, weights=triangle_areas(mesh), minlength=label.max() + 1)
    turned = (weight[plain] < weight[reverse]) | ((weight[plain] == weight[reverse]) & (plain > reverse))
    turned &= plain != reverse
    if not turned.any():
        return mesh, _nothing()
    triangles = np.where(turned[:, None], mesh.triangles[:, ::-1], mesh.triangles)
    places = mesh.corners[turned].mean(axis=1)
    return replace(mesh, triangles=triangles), Repair("flipped faces turned round", int(turned.sum()), places)


def _parted(mesh: Mesh) -> tuple[Mesh, Repair]:
    """Sheets that meet in edges of more than two triangles, or in single vertices, parted."""
    overused = edge_faults(mesh).overused
    after, parts = parted(mesh)
    if not len(parts):
        return mesh, _nothing()
    what = f"vertices parted where sheets touch ({len(overused)} edges of more than two triangles)"
    return after, Repair(what, len(parts), mesh.vertices[parts])


def _without_flat(mesh: Mesh) -> tuple[Mesh, Repair]:
    """Triangles without area flipped or collapsed away; those that cannot be are left."""
    after, places = without_slivers(mesh)
    return (
        (after, Repair("flat triangles flipped or collapsed", len(places), places))
        if len(places)
        else (mesh, _nothing())
    )


def _outward(mesh: Mesh) -> tuple[Mesh, Repair]:
    """A closed mesh that encloses less than nothing turned inside out."""
    if edge_faults(mesh) or volume(mesh) >= 0:
        return mesh, _nothing()
    turned = replace(mesh, triangles=mesh.triangles[:, ::-1])
    return turned, Repair("faces of an inside-out mesh turned round", len(mesh.triangles), mesh.vertices[:1])


def _nothing() -> Repair:
    return Repair("", 0, np.empty((0, 3)))
