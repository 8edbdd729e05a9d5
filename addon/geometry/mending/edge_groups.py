"""The edges of triangles that are one: those over the same two vertices, whichever way they run."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..mesh import Mesh


class EdgeGroups(NamedTuple):
    """Edges by the two vertices they join.

    `ends` (3 m, 2) are all of them, as `Mesh.edges` has them; `order` (3 m,) their rows, those that are one following
    each other as they came; group k begins at `starts`[k] in it and holds `uses`[k] of them.
    """

    ends: NDArray[np.int64]
    order: NDArray[np.int64]
    starts: NDArray[np.int64]
    uses: NDArray[np.int64]

    @property
    def pairs(self) -> NDArray[np.int64]:
        """(p, 2) rows of the edges that exactly two triangles share."""
        twice = self.starts[self.uses == 2]
        return np.stack([self.order[twice], self.order[twice + 1]], axis=1)


def edge_groups(mesh: Mesh) -> EdgeGroups:
    """The edges of a mesh of any triangles, grouped."""
    ends = mesh.edges
    keys = ends.min(axis=1) * len(mesh.vertices) + ends.max(axis=1)
    order = np.argsort(keys, kind="stable")
    keys = keys[order]
    starts = np.flatnonzero(np.append(True, keys[1:] != keys[:-1])[: len(keys)])
    return EdgeGroups(ends, order, starts, np.diff(np.append(starts, len(keys))))
