"""Texture places for the base head: one island for the head, cut open down the back, and one for each ear.

Each island is laid out with its edge on a circle and every other vertex in the balance of springs along its edges,
which are the stiffer the shorter the edge is on the head. With positive springs and a convex edge no two faces can
overlap (Tutte 1963, doi 10.1112/plms/s3-13.1.743; Floater 1997, doi 10.1016/S0167-8396(96)00031-3).
"""

import numpy as np
from canthus.geometry.quad_meshes.quads import edges_of, rims_of
from canthus.geometry.quad_meshes.subdivision import refined
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.linalg import splu

from .laying import LEVELS, Laid
from .layout import COLUMNS, Layout

HEAD = (0.5, 0.5, 0.495)
EARS = {"right": (0.08, 0.08, 0.075), "left": (0.92, 0.08, 0.075)}
"""Middle and radius of each island's circle in the unit square; the ears fit in its lower corners."""


def unwrapped(now: Laid, layout: Layout) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Texture places (k, 2), and the plan's faces (m, 4) as rows of them; `now` refines the plan in the same order."""
    plan, islands = _cut(layout, now)
    quads, count, owners = plan, int(plan.max()) + 1, islands
    for _ in range(LEVELS):
        level = refined(quads, count, smooth=False)
        quads, count, owners = level.quads, level.matrix.shape[0], np.repeat(owners, 4)
    on_head = np.empty(count, np.int64)
    on_head[quads] = now.quads
    places = now.vertices[on_head]
    found = np.zeros((count, 2))
    circles = {0: HEAD, 1: EARS["left"], 2: EARS["right"]}
    for island, circle in circles.items():
        rows, local = np.unique(quads[owners == island], return_inverse=True)
        found[rows] = _sprung(places[rows], local.reshape(-1, 4), circle)
    return found, plan


def _cut(layout: Layout, now: Laid) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """The plan's faces with vertices of their own on both sides of each cut, and the island of each face."""
    faces = layout.quads.copy()
    across = now.vertices[now.quads].mean(axis=1)[:, 0].reshape(len(faces), -1).mean(axis=1)
    ears = np.array(layout.labels) == "ears"
    islands = np.where(ears, np.where(across > 0, 1, 2), 0)
    seam = layout.grid[:-1, COLUMNS // 2]
    behind = np.isin(faces, seam) & (across < 0)[:, None]
    keys = faces + layout.count * (islands[:, None] + 3 * behind)
    _, numbered = np.unique(keys, return_inverse=True)
    return numbered.reshape(-1, 4).astype(np.int64), islands


def _sprung(
    places: NDArray[np.float64], quads: NDArray[np.int64], circle: tuple[float, float, float]
) -> NDArray[np.float64]:
    """(n, 2) the island on its circle. A hole in it is spanned by one more vertex while it is laid out."""
    rims = sorted(rims_of(quads), key=len)
    edge, holes = rims[-1], rims[:-1]
    count = len(places) + len(holes)
    edges, _, _ = edges_of(quads)
    start, end = edges.T
    stiff = 1.0 / np.maximum(np.linalg.norm(places[start] - places[end], axis=1), 0.05)
    for number, hole in enumerate(holes):
        start = np.concatenate([start, hole])
        end = np.concatenate([end, np.full(len(hole), len(places) + number)])
        stiff = np.concatenate([stiff, np.full(len(hole), stiff.mean())])
    springs = coo_array((stiff, (start, end)), shape=(count, count)).tocsr()
    springs = springs + springs.T
    lengths = np.linalg.norm(places[np.roll(edge, -1)] - places[edge], axis=1)
    along = np.concatenate([[0], np.cumsum(lengths)[:-1]]) / lengths.sum()
    lowest = along[np.argmin(places[edge, 1] + np.abs(places[edge, 0]))]  # the front of the neck, or of an ear
    turn = 2 * np.pi * (along - lowest) - np.pi / 2
    x, y, radius = circle
    found = np.zeros((count, 2))
    found[edge] = np.column_stack([x + radius * np.cos(turn), y + radius * np.sin(turn)])
    free = np.setdiff1d(np.arange(count), edge)
    system = coo_array((springs.sum(axis=1), (np.arange(count), np.arange(count))), shape=(count, count)).tocsr()
    system = (system - springs)[free]
    found[free] = splu(system[:, free].tocsc()).solve(-(system @ found))
    return found[: len(places)]
