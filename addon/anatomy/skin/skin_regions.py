"""Which region of the skin each vertex of a head lies in, from the fitted base or from landmarks alone."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from ...geometry.errors import NotReady
from ...geometry.mesh import Mesh
from ...geometry.quad_meshes.nonrigid import carried
from ...geometry.transforms import applied, matched
from .base_head import own_base
from .region_names import FEWEST, REGION_COLUMN, REGIONS, SKIN


def skin_regions(mesh: Mesh, marks: Mapping[str, NDArray[np.float64]]) -> NDArray[np.int64]:
    """(n,) row of `SKIN` for each vertex.

    Parameters
    ----------
    mesh : a head, life size, posed; with the column fit-base leaves, or without
    marks : landmarks by name

    Raises
    ------
    NotReady
        Too few landmarks to know where nose and lips are.
    """
    marks = {name: place for name, place in marks.items() if name != "vertex"}
    if len(marks) < FEWEST:
        raise NotReady(f"{len(marks)} landmarks do not tell nose from lips: run landmarks first")
    if REGION_COLUMN in mesh.columns:
        region = np.asarray(mesh.columns[REGION_COLUMN]).astype(np.int64)
    else:
        base = own_base()
        names = [name for name in marks if name in base.landmarks]
        rows, places = np.array([base.landmarks[name] for name in names]), np.array([marks[name] for name in names])
        laid = carried(
            applied(matched(base.vertices[rows], places, scaled=True), base.vertices), base.quads, rows, places
        )
        of_vertex = np.zeros(len(base.vertices), np.int64)
        of_vertex[base.quads] = np.zeros(1, np.int64) if base.region is None else base.region[:, None]
        region = of_vertex[cKDTree(laid).query(mesh.vertices, workers=-1)[1]]
    region = region.copy()
    face, height = region == REGIONS.index("face"), mesh.vertices[:, 2]
    if "glabella" in marks:
        region[face & (height > marks["glabella"][2])] = SKIN.index("forehead")
    if "stomion" in marks and "subnasale" in marks:
        front = mesh.vertices[:, 1] < marks["stomion"][1] + 55.0
        region[face & front & (height < marks["subnasale"][2])] = SKIN.index("beard")
        region[face & front & (height < 2 * marks["stomion"][2] - marks["subnasale"][2])] = SKIN.index("chin")
    return region
