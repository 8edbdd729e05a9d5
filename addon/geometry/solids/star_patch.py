"""A piece of surface taken out and another sewn in, both seen from one point within: the rest stays bit for bit."""

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from ..angles import arc_tangent
from ..errors import NotPossible
from ..linked import linked_pieces
from ..mesh import Mesh
from .flipping import with_even_triangles


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
    kept, rim = _without_cap(mesh, centre, frame, around, edge, span)
    loop = _single_loop(rim, centre)
    turns = _turns(kept.vertices[loop] - centre, frame)
    loop = np.roll(loop, -_beside(turns, float(around[0])))
    count, first = len(around), len(kept.vertices)
    outer = first + (len(rings) - 1) * count + np.arange(count)
    loop, notches = _without_notches(loop, kept.vertices - centre)
    seam = _sewn(outer, loop, rings[-1] - centre, kept.vertices[loop] - centre)
    vertices = np.concatenate([rings.reshape(-1, 3), tip[None]])
    sewn = np.concatenate([_dome(len(rings), count) + first, seam, notches])
    sewn = with_even_triangles(np.concatenate([kept.vertices, vertices]), sewn, centre)
    triangles = np.concatenate([kept.triangles, sewn])
    alike = _nearest(mesh.vertices, vertices)
    return Mesh(
        np.concatenate([kept.vertices, vertices]),
        triangles,
        None if mesh.colours is None else np.concatenate([kept.colours, mesh.colours[alike]]),
        {name: np.concatenate([kept.columns[name], values[alike]]) for name, values in mesh.columns.items()},
    )


def _turns(away: NDArray[np.float64], frame: NDArray[np.float64]) -> NDArray[np.float64]:
    across, up = (away @ frame[:2].T).T
    return np.asarray(arc_tangent(up, across) % (2 * np.pi))


def _without_cap(
    mesh: Mesh,
    centre: NDArray[np.float64],
    frame: NDArray[np.float64],
    around: NDArray[np.float64],
    edge: NDArray[np.float64],
    span: tuple[float, float],
) -> tuple[Mesh, NDArray[np.int64]]:
    """The mesh without what lies within the edge and scraps that this leaves, and the (e, 2) edges round the hole."""
    away = mesh.vertices - centre
    squared = (away**2).sum(axis=1)
    near = np.flatnonzero((squared > span[0] ** 2) & (squared < span[1] ** 2))
    across, up, ahead = (away[near] @ frame.T).T
    angles = arc_tangent(np.hypot(across, up), ahead)
    within = np.zeros(len(mesh.vertices), dtype=bool)
    within[near] = angles < np.interp(_turns(away[near], frame), around, edge, period=2 * np.pi)
    gone = within[mesh.triangles].any(axis=1)
    # Only triangles about the hole can change the rim; the rest of a large mesh is not looked at again.
    about = np.zeros(len(mesh.vertices), dtype=bool)
    about[near] = angles < 0.15 + np.interp(_turns(away[near], frame), around, edge, period=2 * np.pi)
    local = np.flatnonzero(about[mesh.triangles].any(axis=1))
    corners = mesh.triangles[local]
    taken = gone[local]
    for _ in range(30):
        starts, counts = np.unique(_inner_rim(corners, taken)[:, 0], return_counts=True)
        at_rim = np.zeros(len(mesh.vertices), dtype=bool)
        at_rim[starts] = True
        pinched = np.zeros(len(mesh.vertices), dtype=bool)
        pinched[starts[counts > 1]] = True
        # Corners of the rim that stick into the hole go too: a smooth rim is sewn to without folds.
        more = ~taken & (pinched[corners].any(axis=1) | at_rim[corners].all(axis=1))
        if not more.any():
            break
        taken |= more
    outside = np.ones(len(mesh.triangles), dtype=bool)
    outside[local] = False
    taken |= _cut_off(corners, taken, mesh.triangles[outside], len(mesh.vertices))
    gone[local] = taken
    used = np.zeros(len(mesh.vertices), dtype=bool)
    used[mesh.triangles[~gone]] = True
    renumbered = np.cumsum(used) - 1
    kept = Mesh(
        mesh.vertices[used],
        renumbered[mesh.triangles[~gone]],
        None if mesh.colours is None else mesh.colours[used],
        {name: values[used] for name, values in mesh.columns.items()},
    )
    return kept, renumbered[_inner_rim(corners, taken)]


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


def _single_loop(rim: NDArray[np.int64], centre: NDArray[np.float64]) -> NDArray[np.int64]:
    """The vertices round the hole, counter-clockwise seen from outside, of its (e, 2) edges as their triangles run."""
    following = dict(zip(rim[:, 1].tolist(), rim[:, 0].tolist(), strict=True))  # against the kept triangles' turn
    loop = [int(rim[0, 1])] if len(rim) else []
    while loop and (ahead := following.get(loop[-1], loop[0])) != loop[0] and len(loop) <= len(rim):
        loop.append(ahead)
    if not loop or len(loop) != len(rim):
        x, y, z = centre
        raise NotPossible(f"the surface about ({x:.1f}, {y:.1f}, {z:.1f}) is torn or folded: smooth it there first")
    return np.array(loop)


def _beside(turns: NDArray[np.float64], turn: float) -> int:
    """Which vertex of the rim lies at a turn; the rim must run once round."""
    round_ = np.unwrap(np.append(turns, turns[0]))
    if not np.pi < round_[-1] - round_[0] < 3 * np.pi:
        raise NotPossible("the hole's rim does not run once round: smooth the surface there first")
    return int(np.argmin(np.abs((turns - turn + np.pi) % (2 * np.pi) - np.pi)))


def _without_notches(loop: NDArray[np.int64], away: NDArray[np.float64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """The rim with its sharp notches bridged, and the (t, 3) triangles that fill them."""
    rim, filled = loop.tolist(), []
    for _ in range(8):
        before, at, clipped = len(rim), 1, []
        while at < len(rim) - 1:
            a, b, c = away[rim[at - 1]], away[rim[at]], away[rim[at + 1]]
            ahead, back = c - b, a - b
            sharp = ahead @ back > -0.35 * np.sqrt((ahead @ ahead) * (back @ back))
            if sharp and a @ np.cross(b, c) > 0:
                clipped.append((rim[at - 1], rim[at], rim[at + 1]))
                del rim[at]
            at += 1
        filled += clipped
        if len(rim) == before:
            break
    return np.array(rim), np.array(filled, dtype=np.int64).reshape(-1, 3)


def _dome(rings: int, count: int) -> NDArray[np.int64]:
    """Triangles of rings of vertices about a tip, which is numbered last."""
    here = np.arange(count)
    ahead = np.roll(here, -1)
    parts = [np.column_stack([np.full(count, rings * count), here, ahead])]
    for ring in range(rings - 1):
        low, high = ring * count, (ring + 1) * count
        parts.append(np.column_stack([low + here, high + here, high + ahead]))
        parts.append(np.column_stack([low + here, high + ahead, low + ahead]))
    return np.concatenate(parts)


def _sewn(
    inner: NDArray[np.int64], loop: NDArray[np.int64], ring: NDArray[np.float64], rim: NDArray[np.float64]
) -> NDArray[np.int64]:
    """Triangles between the outermost ring and the hole's rim: none facing inwards if it can be, the shortest seam.

    Parameters
    ----------
    inner, loop : numbers of the vertices, both counter-clockwise, their first ones beside each other
    ring, rim : (n, 3) and (m, 3) where they lie, seen from the origin

    Notes
    -----
    Every seam is a walk that steps along one side or the other; dynamic programming over the walks, one diagonal of
    the table at a time.
    """
    n, m = len(inner), len(loop)
    ring, rim = np.concatenate([ring, ring[:1]]), np.concatenate([rim, rim[:1]])
    costs = np.full((n + 1, m + 1), np.inf)
    from_ring = np.zeros((n + 1, m + 1), dtype=bool)
    costs[0, 0] = 0.0
    for total in range(1, n + m + 1):
        i = np.arange(max(0, total - m), min(n, total) + 1)
        j = total - i
        length = np.linalg.norm(ring[i] - rim[j], axis=1)
        before_i, before_j = np.maximum(i - 1, 0), np.maximum(j - 1, 0)
        along_ring = costs[before_i, j] + _fold(ring[before_i], rim[j], ring[i])
        along_rim = costs[i, before_j] + _fold(ring[i], rim[before_j], rim[j])
        along_ring[i == 0] = along_rim[j == 0] = np.inf
        from_ring[i, j] = along_ring < along_rim
        costs[i, j] = np.minimum(along_ring, along_rim) + length
    triangles, at_ring, at_rim = [], n, m
    while at_ring or at_rim:
        if from_ring[at_ring, at_rim]:
            triangles.append((inner[at_ring - 1], loop[at_rim % m], inner[at_ring % n]))
            at_ring -= 1
        else:
            triangles.append((inner[at_ring % n], loop[at_rim - 1], loop[at_rim % m]))
            at_rim -= 1
    return np.array(triangles)


def _fold(a: NDArray[np.float64], b: NDArray[np.float64], c: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n,) a forbidding cost for triangles that face the origin."""
    return np.where(np.einsum("ij,ij->i", a, np.cross(b, c)) > 0, 0.0, 1e6)


def flipped(mesh: Mesh, centre: NDArray[np.float64], first: int) -> int:
    """How many triangles with a vertex numbered `first` or more do not face away from the centre.

    Notes
    -----
    None, and the new surface is seen whole from the centre, so it cannot cross itself.
    """
    new = mesh.triangles[(mesh.triangles >= first).any(axis=1)]
    a, b, c = (mesh.vertices[new] - centre).transpose(1, 0, 2)
    return int((np.einsum("ij,ij->i", a, np.cross(b, c)) <= 0).sum())
