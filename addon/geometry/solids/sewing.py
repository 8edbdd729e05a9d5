"""A ring of vertices sewn to the rim of a hole about it, both seen whole from one point within."""

import numpy as np
from numpy.typing import NDArray

from ..errors import NotPossible


def single_loop(rim: NDArray[np.int64], centre: NDArray[np.float64]) -> NDArray[np.int64]:
    """The vertices round a hole, counter-clockwise seen from outside.

    Parameters
    ----------
    rim : (e, 2) edges of the triangles that are left round it, as those run along them
    centre : (3,) the point it is seen from, to be named

    Raises
    ------
    NotPossible
        The edges make no loop, or more than one.
    """
    following = dict(zip(rim[:, 1].tolist(), rim[:, 0].tolist(), strict=True))  # against the kept triangles' turn
    loop = [int(rim[0, 1])] if len(rim) else []
    while loop and (ahead := following.get(loop[-1], loop[0])) != loop[0] and len(loop) <= len(rim):
        loop.append(ahead)
    if not loop or len(loop) != len(rim):
        x, y, z = centre
        raise NotPossible(f"the surface about ({x:.1f}, {y:.1f}, {z:.1f}) is torn or folded: smooth it there first")
    return np.array(loop)


def at_turn(turns: NDArray[np.float64], turn: float) -> int:
    """Which vertex of a rim lies nearest to a turn, given (n,) those of all, radians.

    Raises
    ------
    NotPossible
        The rim does not run once round.
    """
    round_ = np.unwrap(np.append(turns, turns[0]))
    if not np.pi < round_[-1] - round_[0] < 3 * np.pi:
        raise NotPossible("the hole's rim does not run once round: smooth the surface there first")
    return int(np.argmin(np.abs((turns - turn + np.pi) % (2 * np.pi) - np.pi)))


def without_notches(loop: NDArray[np.int64], away: NDArray[np.float64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """A rim with its sharp notches bridged, and the (t, 3) triangles that fill them.

    Parameters
    ----------
    loop : (n,) vertices round the hole, as of `single_loop`
    away : (k, 3) where all vertices lie, seen from the centre
    """
    rim, filled = loop.tolist(), []
    for _ in range(8):
        before, at, clipped = len(rim), 1, []
        while at < len(rim) - 1:
            a, b, c = away[rim[at - 1]], away[rim[at]], away[rim[at + 1]]
            ahead, back = c - b, a - b
            sharp = ahead @ back > _SHARP * np.sqrt((ahead @ ahead) * (back @ back))
            if sharp and a @ np.cross(b, c) > 0:
                clipped.append((rim[at - 1], rim[at], rim[at + 1]))
                del rim[at]
            at += 1
        filled += clipped
        if len(rim) == before:
            break
    return np.array(rim), np.array(filled, dtype=np.int64).reshape(-1, 3)


_SHARP = -0.35
"""Cosine between the two sides of a notch from which it is bridged: 110 degrees and less."""


def sewn(
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


_FORBIDDEN = 1e6  # millimetres of seam that a triangle facing inwards costs


def _fold(a: NDArray[np.float64], b: NDArray[np.float64], c: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n,) a forbidding cost for triangles that face the origin."""
    return np.where(np.einsum("ij,ij->i", a, np.cross(b, c)) > 0, 0.0, _FORBIDDEN)
