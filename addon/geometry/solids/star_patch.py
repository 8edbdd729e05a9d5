"""A piece of surface taken out and another sewn in, both seen from one point within: the rest stays bit for bit."""

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from ..angles import arc_tangent
from ..errors import NotPossible
from ..linked import linked_pieces
from ..mesh import Mesh
from .flipping import with_even_triangles
from .rings import dome
from .sewing import at_turn, sewn, single_loop, without_notches


def with_star_patch(
    mesh: Mesh,
    centre: NDArray[np.float64],
    frame: NDArray[np.float64],
    around: NDArray[np.float64],
    edge: NDArray[np.float64],
    rings: NDArray[np.float64],
    tip: NDArray[np.float64],
    span: tuple[float, float],
) -> Mesh:
    """The mesh with what is seen within an edge replaced by rings of new vertices.

    Parameters
    ----------
    mesh : closed
    centre : (3,) the point within, from which both surfaces are seen whole
    frame : (3, 3) rows across, up, ahead; angles are taken from ahead, turns from across towards up
    around : (k,) turns of the spokes, rising, radians from 0 to 2 pi
    edge : (k,) angle of the patch's edge on each spoke: every triangle with a corner within it goes
    rings : (r, k, 3) new vertices from the innermost ring to the outermost, which lies within the edge
    tip : (3,) new vertex in the middle
    span : nothing nearer to the centre or farther from it than this is touched

    Returns
    -------
    Mesh : kept vertices first, in their order and bit for bit; colours and columns of new ones are their nearest's.

    Raises
    ------
    NotPossible
        The surface is torn or folded along the edge, so that no single loop is left to sew to.
    """
    gone, rim = _cap(mesh, centre, frame, around, edge, span)
    kept, rows = mesh.kept(~gone), np.flatnonzero(mesh.vertices_of(~gone))
    loop = single_loop(np.searchsorted(rows, rim), centre)
    turns = _turns(kept.vertices[loop] - centre, frame)
    loop = np.roll(loop, -at_turn(turns, float(around[0])))
    count, first = len(around), len(kept.vertices)
    outer = first + (len(rings) - 1) * count + np.arange(count)
    loop, notches = without_notches(loop, kept.vertices - centre)
    seam = sewn(outer, loop, rings[-1] - centre, kept.vertices[loop] - centre)
    vertices = np.concatenate([rings.reshape(-1, 3), tip[None]])
    patch = np.concatenate([dome(len(rings), count) + first, seam, notches])
    every = np.concatenate([kept.vertices, vertices])
    triangles = np.concatenate([kept.triangles, with_even_triangles(every, patch, centre)])
    return mesh.remade(every, triangles, np.append(rows, _nearest(mesh.vertices, vertices)))


def can_be_sewn(
    mesh: Mesh,
    centre: NDArray[np.float64],
    frame: NDArray[np.float64],
    around: NDArray[np.float64],
    edge: NDArray[np.float64],
    span: tuple[float, float],
) -> bool:
    """Whether a single loop is left along the edge: arguments as of `with_star_patch`, without the new surface."""
    try:
        single_loop(_cap(mesh, centre, frame, around, edge, span)[1], centre)
    except NotPossible:
        return False
    else:
        return True


def _turns(away: NDArray[np.float64], frame: NDArray[np.float64]) -> NDArray[np.float64]:
    across, up = (away @ frame[:2].T).T
    return np.asarray(arc_tangent(up, across) % (2 * np.pi))


def _cap(
    mesh: Mesh,
    centre: NDArray[np.float64],
    frame: NDArray[np.float64],
    around: NDArray[np.float64],
    edge: NDArray[np.float64],
    span: tuple[float, float],
) -> tuple[NDArray[np.bool_], NDArray[np.int64]]:
    """(m,) mask of the triangles within the edge and scraps that this leaves, and the (e, 2) edges round the hole."""
    away = mesh.vertices - centre
    squared = (away**2).sum(axis=1)
    near = np.flatnonzero((squared > span[0] ** 2) & (squared < span[1] ** 2))
    across, up, ahead = (away[near] @ frame.T).T
    angles = arc_tangent(np.hypot(across, up), ahead)
    wide = np.interp(_turns(away[near], frame), around, edge, period=2 * np.pi)
    within, about = np.zeros((2, len(mesh.vertices)), bool)
    within[near], about[near] = angles < wide, angles < _ABOUT + wide
    gone, local = mesh.triangles_at(within), mesh.triangles_at(about)
    corners = mesh.triangles[local]
    taken = _evened(corners, gone[local], len(mesh.vertices))
    taken |= _cut_off(corners, taken, mesh.triangles[~local], len(mesh.vertices))
    gone[local] = taken
    return gone, _inner_rim(corners, taken)


_ABOUT = 0.15
"""Radians round the edge looked at: only triangles there can change the rim, and a large mesh has many others."""


def _evened(corners: NDArray[np.int32], taken: NDArray[np.bool_], count: int) -> NDArray[np.bool_]:
    """The triangles taken, and those that would stick into the hole: a smooth rim is sewn to without folds."""
    taken = taken.copy()
    for _ in range(30):
        starts, uses = np.unique(_inner_rim(corners, taken)[:, 0], return_counts=True)
        at_rim, pinched = np.zeros((2, count), bool)
        at_rim[starts], pinched[starts[uses > 1]] = True, True
        more = ~taken & (pinched[corners].any(axis=1) | at_rim[corners].all(axis=1))
        if not more.any():
            break
        taken |= more
    return taken


def _cut_off(
    corners: NDArray[np.int32], taken: NDArray[np.bool_], rest: NDArray[np.int32], count: int
) -> NDArray[np.bool_]:
    """Which triangles about the hole no longer hang together with the rest of the mesh."""
    stay = np.flatnonzero(~taken)
    edges = corners[stay][:, [[0, 1], [1, 2]]].reshape(-1, 2)
    piece = linked_pieces(edges[:, 0], edges[:, 1], count)
    held = np.zeros(int(piece.max()) + 1, dtype=bool)
    held[piece[rest]] = True
    lost = np.zeros(len(corners), dtype=bool)
    lost[stay] = ~held[piece[corners[stay, 0]]]
    return lost


def _inner_rim(corners: NDArray[np.int32], taken: NDArray[np.bool_]) -> NDArray[np.int64]:
    """(e, 2) edges of triangles that stay, shared with ones that are taken."""
    lost = _rim(corners[taken])
    size = int(corners.max(initial=0)) + 1
    stay = corners[~taken][:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2).astype(np.int64)
    return stay[np.isin(stay[:, 0] * size + stay[:, 1], lost[:, 1] * size + lost[:, 0])]


def _rim(triangles: NDArray[np.int32]) -> NDArray[np.int64]:
    """(e, 2) edges that run one way only, as their triangle runs along them."""
    edges = triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2).astype(np.int64)
    size = int(edges.max(initial=0)) + 1
    keys, back = edges[:, 0] * size + edges[:, 1], edges[:, 1] * size + edges[:, 0]
    return edges[~np.isin(keys, back)]


def _nearest(old: NDArray[np.float64], new: NDArray[np.float64]) -> NDArray[np.int64]:
    """(n,) row of the old vertex nearest to each new one, looked for among those about the new ones."""
    low, high = new.min(axis=0), new.max(axis=0)
    margin = 0.1 * (high - low).max()
    close_by = np.flatnonzero(((old > low - margin) & (old < high + margin)).all(axis=1))
    return np.asarray(close_by[KDTree(old[close_by]).query(new)[1]])


def flipped(mesh: Mesh, centre: NDArray[np.float64], first: int) -> int:
    """How many triangles with a vertex numbered `first` or more do not face away from the centre.

    Notes
    -----
    None, and the new surface is seen whole from the centre, so it cannot cross itself.
    """
    new = mesh.triangles[(mesh.triangles >= first).any(axis=1)]
    a, b, c = (mesh.vertices[new] - centre).transpose(1, 0, 2)
    return int((np.einsum("ij,ij->i", a, np.cross(b, c)) <= 0).sum())
