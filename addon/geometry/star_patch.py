"""A piece of surface taken out and another sewn in, both seen from one point within: the rest stays bit for bit."""

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from .errors import NotPossible
from .measures import components
from .mesh import Mesh


def with_star_patch(
    mesh: Mesh,
    centre: NDArray[np.float64],
    frame: NDArray[np.float64],
    around: NDArray[np.float64],
    edge: NDArray[np.float64],
    rings: NDArray[np.float64],
    tip: NDArray[np.float64],
    nearest: float,
    farthest: float,
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
    nearest, farthest : nothing nearer to the centre or farther from it is touched

    Returns
    -------
    Mesh : kept vertices first, in their order and bit for bit; colours and columns of new ones are their nearest's.

    Raises
    ------
    NotPossible
        The surface is torn or folded along the edge, so that no single loop is left to sew to.
    """
    kept = _without_cap(mesh, centre, frame, around, edge, (nearest, farthest))
    loop = _single_loop(kept, centre)
    turns = _turns(kept.vertices[loop] - centre, frame)
    loop = np.roll(loop, -_beside(turns, float(around[0])))
    count, first = len(around), len(kept.vertices)
    outer = first + (len(rings) - 1) * count + np.arange(count)
    seam = _sewn(outer, loop, rings[-1] - centre, kept.vertices[loop] - centre)
    triangles = np.concatenate([kept.triangles, _dome(len(rings), count) + first, seam])
    vertices = np.concatenate([rings.reshape(-1, 3), tip[None]])
    alike = _nearest(mesh.vertices, vertices)
    return Mesh(
        np.concatenate([kept.vertices, vertices]),
        triangles,
        None if mesh.colours is None else np.concatenate([kept.colours, mesh.colours[alike]]),
        {name: np.concatenate([kept.columns[name], values[alike]]) for name, values in mesh.columns.items()},
    )


def _turns(away: NDArray[np.float64], frame: NDArray[np.float64]) -> NDArray[np.float64]:
    across, up = (away @ frame[:2].T).T
    return np.asarray(np.arctan2(up, across) % (2 * np.pi))


def _without_cap(
    mesh: Mesh,
    centre: NDArray[np.float64],
    frame: NDArray[np.float64],
    around: NDArray[np.float64],
    edge: NDArray[np.float64],
    span: tuple[float, float],
) -> Mesh:
    """The mesh without what lies within the edge, and without loose ends and scraps that this leaves."""
    away = mesh.vertices - centre
    squared = (away**2).sum(axis=1)
    near = np.flatnonzero((squared > span[0] ** 2) & (squared < span[1] ** 2))
    across, up, ahead = (away[near] @ frame.T).T
    angles = np.arctan2(np.hypot(across, up), ahead)
    within = np.zeros(len(mesh.vertices), dtype=bool)
    within[near] = angles < np.interp(_turns(away[near], frame), around, edge, period=2 * np.pi)
    gone = within[mesh.triangles].any(axis=1)
    for _ in range(20):
        left = mesh.triangles[~gone]
        starts, counts = np.unique(_rim(left)[:, 0], return_counts=True)
        pinched = starts[counts > 1]
        if not len(pinched):
            break
        gone |= np.isin(mesh.triangles, pinched).any(axis=1)
    kept = mesh.kept(~gone)
    pieces = components(kept)
    return kept if pieces.max(initial=0) == 0 else kept.kept(pieces == 0)


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


def _single_loop(mesh: Mesh, centre: NDArray[np.float64]) -> NDArray[np.int64]:
    """The vertices round the hole, counter-clockwise seen from outside."""
    rim = _rim(mesh.triangles)
    following = dict(zip(rim[:, 1].tolist(), rim[:, 0].tolist(), strict=True))  # against the kept triangles' turn
    loop = [int(rim[0, 1])] if len(rim) else []
    while loop and (ahead := following[loop[-1]]) != loop[0]:
        loop.append(ahead)
        if len(loop) > len(rim):
            break
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
    triangles, i, j = [], n, m
    while i or j:
        if from_ring[i, j]:
            triangles.append((inner[i - 1], loop[j % m], inner[i % n]))
            i -= 1
        else:
            triangles.append((inner[i % n], loop[j - 1], loop[j % m]))
            j -= 1
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
