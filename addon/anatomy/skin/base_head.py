"""The base head: quads round eyes, mouth and ears, with landmarks, regions and texture places; ours, or one's own.

Ours is made by `tools/base_head/build.py`, which writes the file beside this module anew, bit for bit.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ...geometry.quad_meshes.quads import needed_quads
from ...geometry.quad_meshes.subdivision import refined
from .region_names import REGIONS

FINEST_MM, FINEST_UV = 0.01, 1 / 65535
"""Units the file holds vertices and texture places in."""
_STORED_LEVELS = 2


@dataclass(frozen=True, eq=False)
class BaseHead:
    """A head of quads.

    Parameters
    ----------
    vertices : (n, 3) array, posed frame, millimetres
    quads : (m, 4) rows of them, counter-clockwise from outside
    landmarks : name to vertex
    region : (m,) row of `REGIONS` for each face
    uv : (k, 2) places in the unit square, none where there are none
    uv_quads : (m, 4) rows of `uv`, the corners of the faces in the same order

    Raises
    ------
    BadMesh
        Faces that do not make a surface.
    """

    vertices: NDArray[np.float64]
    quads: NDArray[np.int64]
    landmarks: Mapping[str, int] = field(default_factory=dict)
    region: NDArray[np.uint8] | None = None
    uv: NDArray[np.float64] | None = None
    uv_quads: NDArray[np.int64] | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "vertices", np.ascontiguousarray(self.vertices, dtype=np.float64).reshape(-1, 3))
        object.__setattr__(self, "quads", needed_quads(self.quads, len(self.vertices)))

    def places(self) -> dict[str, NDArray[np.float64]]:
        """The landmarks' positions."""
        return {name: self.vertices[row] for name, row in self.landmarks.items()}

    def in_region(self, *names: str) -> NDArray[np.bool_]:
        """Mask of the vertices of faces in any of these regions; none where the head has no regions."""
        mask = np.zeros(len(self.vertices), bool)
        if self.region is not None:
            mask[self.quads[np.isin(self.region, [REGIONS.index(name) for name in names])]] = True
        return mask

    def finer(self, levels: int) -> "BaseHead":
        """The head after so many levels of subdivision; landmarks stay on their vertices."""
        head = self
        for _ in range(levels):
            level = refined(head.quads, len(head.vertices))
            uv = uv_quads = None
            if head.uv is not None and head.uv_quads is not None:
                texture = refined(head.uv_quads, len(head.uv), smooth=False)
                uv, uv_quads = texture.matrix @ head.uv, texture.quads
            region = None if head.region is None else np.repeat(head.region, 4)
            head = BaseHead(level.matrix @ head.vertices, level.quads, head.landmarks, region, uv, uv_quads)
        return head


def regions_named(groups: NDArray[np.str_] | None) -> NDArray[np.uint8] | None:
    """(m,) row of `REGIONS` of each face by the (m,) names of groups a file has; None where no name is a region's.

    What is in no such group is face.
    """
    if groups is None or not np.isin(groups, REGIONS).any():
        return None
    found = np.full(len(groups), REGIONS.index("face"), np.uint8)
    for row, name in enumerate(REGIONS):
        found[groups == name] = row
    return found


def own_base() -> BaseHead:
    """The base head that comes with Canthus."""
    with np.load(Path(__file__).with_name("base-head.npz"), allow_pickle=False) as file:
        stored = {name: file[name] for name in file.files}
    quads, uv_quads = stored["quads"].astype(np.int64), stored["uv_quads"].astype(np.int64)
    for _ in range(_STORED_LEVELS):
        quads = refined(quads, int(quads.max()) + 1).quads
        uv_quads = refined(uv_quads, int(uv_quads.max()) + 1, smooth=False).quads
    names, rows = stored["landmark_names"].tolist(), stored["landmark_rows"].tolist()
    return BaseHead(
        stored["vertices"] * FINEST_MM,
        quads,
        dict(zip(names, rows, strict=True)),
        np.repeat(stored["regions"], 4**_STORED_LEVELS),
        stored["uv"] * FINEST_UV,
        uv_quads,
    )
