"""A quad mesh moved as far as it can be without faces turned over or passing through one another."""

import numpy as np
from numpy.typing import NDArray

from ..mending.intersections import self_intersections
from ..mending.untangling import crossing_near
from ..mesh import Mesh
from .quads import Quads, as_triangles, averaging, facing_of, quad_normals

_BLUR = 4  # means taken to make the passage from what goes back to what stays a soft one


def unfolded(
    start: NDArray[np.float64], moved: NDArray[np.float64], quads: Quads, turns: int = 10
) -> tuple[NDArray[np.float64], int]:
    """The moved vertices, those of faces that fold gone back towards where they came from.

    Parameters
    ----------
    start, moved : (n, 3) vertices before and after
    quads : (m, 4) rows of them
    turns : how often to look again; each time more goes back round what still folds

    Returns
    -------
    The vertices, and how many faces are turned over or cross another still: those that did so at the start too.
    """
    mean = averaging(quads, len(moved))
    share, back = np.ones(len(moved)), np.zeros(len(moved))
    vertices, looked_at = moved, np.arange(len(quads))
    for turn in range(turns + 1):
        folded = _folded(vertices, quads, looked_at if turn else None)
        if turn and not len(folded):
            folded = _folded(vertices, quads, None)  # all of it once more: what went back may meet what did not move
        if not len(folded) or turn == turns:
            return vertices, len(folded)
        back[quads[folded]] = 1.0
        wide = back
        for _ in range(1 + turn // 2):
            wide = np.maximum(wide, mean @ wide > 0)
        soft = wide.astype(float)
        for _ in range(_BLUR):
            soft = np.maximum(wide, mean @ soft)
        before, share = share, np.minimum(share, 1.0 - soft)
        vertices = start + share[:, None] * (moved - start)
        looked_at = np.flatnonzero((share != before)[quads].any(axis=1))
    return vertices, 0


def _folded(vertices: NDArray[np.float64], quads: Quads, near: NDArray[np.int64] | None) -> NDArray[np.int64]:
    """Rows of the faces turned over or crossing, of all or of those about `near`."""
    skin = Mesh(vertices, as_triangles(vertices, quads))
    if near is None:
        crossing = np.unique(self_intersections(skin)).astype(np.int64)
        near = np.arange(len(quads))
    else:
        crossing = crossing_near(skin, np.concatenate([2 * near, 2 * near + 1]))
    around = quad_normals(vertices, quads)[quads[near]].sum(axis=1)
    turned = near[np.einsum("mi,mi->m", facing_of(vertices, quads[near]), around) <= 0]
    return np.union1d(crossing // 2, turned).astype(np.int64)
