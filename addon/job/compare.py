"""How far one head is from another: signed deviation with figures, and as colours."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..files.reading import read
from ..files.writing import write
from ..geometry.cloud import Cloud
from ..geometry.deviation import deviation, deviation_figures
from ..geometry.errors import BadCloud, BadMesh
from ..geometry.mesh import Mesh
from ..geometry.progress import SILENT, Progress
from .staging import staged

INSIDE, MIDDLE, OUTSIDE = (59, 76, 192), (221, 221, 221), (180, 4, 38)
"""Ends and middle of the cool-to-warm map of K. Moreland, Diverging Color Maps for Scientific Visualization, 2009,
doi 10.1007/978-3-642-10520-3_9: told apart by the colour-blind too. sRGB."""


def compare(a: Path, b: Path, heat: Path | None = None, progress: Progress = SILENT) -> dict[str, Any]:
    """Deviation of A, at each of its vertices or points, from the surface B.

    Parameters
    ----------
    a, b : files whose numbers are millimetres; B must hold a surface
    heat : where A is written coloured by its deviation, with the column `deviation`; None: nowhere
    progress : told what is being done

    Returns
    -------
    `points`, `mean_mm`, `rms_mm`, `p95_mm` (95th percentile of the size), `max_outside_mm`, `max_inside_mm`, and
    `sign_from`. Positive lies outside B.

    Raises
    ------
    BadFile
        A file cannot be read or written.
    BadMesh
        B holds no surface.
    BadCloud
        A holds no points.
    """
    progress(0.0, f"reading {a.name}")
    judged = read(a)
    progress(0.1, f"reading {b.name}")
    base = read(b)
    if not isinstance(base, Mesh) or not len(base.triangles):
        raise BadMesh(f"{b.name} holds points without faces: close it first, then compare")
    points = judged.vertices if isinstance(judged, Mesh) else judged.points
    if not len(points):
        raise BadCloud(f"{a.name} holds no points: there is nothing to compare")
    progress(0.2, f"measuring {len(points):,} points")
    values, sign_from = deviation(points, base)
    figures = {**deviation_figures(values), "sign_from": sign_from}
    progress(1.0, "measured")
    if heat is not None:
        reach = float(np.percentile(np.abs(values), 99)) or 1e-6
        with staged(heat.parent) as waiting:
            write(waiting / heat.name, coloured(judged, values, reach))
        figures["colour_reach_mm"] = reach
    return figures


def coloured(shape: Mesh | Cloud, values: NDArray[np.float64], reach: float) -> Mesh | Cloud:
    """The shape with its deviation as a column and as colours, blue inside to red outside, full from `reach` mm on."""
    share = np.clip(values / reach, -1.0, 1.0)
    colours = np.stack(
        [np.interp(share, (-1, 0, 1), ends) for ends in zip(INSIDE, MIDDLE, OUTSIDE, strict=True)], axis=1
    )
    columns = {**shape.columns, "deviation": values.astype(np.float32)}
    return replace(shape, colours=np.rint(colours).astype(np.uint8), columns=columns)
