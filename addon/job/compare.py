"""How far one head is from another: signed deviation with figures, by region, and as colours with a legend."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..anatomy.face.landmark_files import read_landmarks
from ..anatomy.face.proportions import mean_head
from ..anatomy.skin.skin_regions import SKIN, skin_regions
from ..files.png import write_png
from ..files.reading import read
from ..files.writing import write
from ..geometry.cloud import Cloud
from ..geometry.distances.best_fit import best_fit
from ..geometry.distances.deviation import deviation, deviation_figures
from ..geometry.errors import BadCloud, BadMesh, BadSetting
from ..geometry.mesh import Mesh
from ..geometry.progress import SILENT, Progress
from ..geometry.transforms import applied, matched
from .heat_map import cool_warm, histogram, legend
from .sidecar import piece_in
from .staging import staged

FITS = ("none", "all", *SKIN)
"""What may be brought onto B before measuring: nothing, all of A, or one region of it."""
_BINS = 40


def compare(
    a: Path,
    b: Path,
    heat: Path | None = None,
    progress: Progress = SILENT,
    fit: str = "none",
    landmarks: Path | None = None,
) -> dict[str, Any]:
    """Deviation of A, at each of its vertices or points, from the surface B.

    Parameters
    ----------
    a, b : files whose numbers are millimetres; B must hold a surface
    heat : where A is written coloured by its deviation, with the column `deviation`, and beside it the colours' legend
        as a PNG of the same name; None: nowhere
    progress : told what is being done
    fit : of `FITS`: what of A is turned and moved onto B first, as it fits best
    landmarks : file of A's landmarks, in its coordinates; without, those beside A (`.canthus.json`) where there are any

    Returns
    -------
    `points`, `mean_mm`, `rms_mm`, `p95_mm` (95th percentile of the size), `max_outside_mm`, `max_inside_mm`,
    `sign_from`, `histogram` (`edges_mm`, `counts`); `regions` with the same figures for each region of the skin where
    landmarks tell them, and `fitted_by` (4 by 4) where A was fitted. Positive lies outside B.

    Raises
    ------
    BadFile
        A file cannot be read or written.
    BadMesh
        B holds no surface.
    BadCloud
        A holds no points.
    BadSetting
        A fit by a region without landmarks, or by one A has nothing of.
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
    region = _regions(points, _landmarks(a, landmarks))
    matrix = None
    if fit != "none":
        progress(0.2, "fitting")
        matrix = best_fit(points[_fitted(fit, region, a.name)], base)
        judged, points = judged.moved(matrix), applied(matrix, points)
    progress(0.4, f"measuring {len(points):,} points")
    values, sign_from = deviation(points, base)
    reach = float(np.percentile(np.abs(values), 99)) or 1e-6
    counts, edges = histogram(values, reach, _BINS)
    figures = {
        **deviation_figures(values),
        "sign_from": sign_from,
        "histogram": {"edges_mm": edges.tolist(), "counts": counts.tolist()},
    }
    if region is not None:
        there = [number for number in range(len(SKIN)) if (region == number).any()]
        figures["regions"] = {SKIN[number]: deviation_figures(values[region == number]) for number in there}
    if matrix is not None:
        figures["fitted_by"] = matrix.tolist()
    progress(1.0, "measured")
    if heat is not None:
        with staged(heat.parent) as waiting:
            write(waiting / heat.name, coloured(judged, values, reach))
            with (waiting / heat.with_suffix(".png").name).open("wb") as file:
                write_png(file, legend(values, reach))
        figures["colour_reach_mm"] = reach
    return figures


def coloured(shape: Mesh | Cloud, values: NDArray[np.float64], reach: float) -> Mesh | Cloud:
    """The shape with its deviation as a column and as colours, blue inside to red outside, full from `reach` mm on."""
    columns = {**shape.columns, "deviation": values.astype(np.float32)}
    return replace(shape, colours=cool_warm(values / reach), columns=columns)


def _landmarks(a: Path, file: Path | None) -> dict[str, NDArray[np.float64]]:
    """A's landmarks by name: from the file, else from what lies beside A."""
    if file is not None:
        return {name: np.array(place[:3]) for name, place in read_landmarks(file).items()}
    if not a.with_suffix(".canthus.json").exists():
        return {}
    return {name: np.asarray(mark.position) for name, mark in piece_in([a]).landmarks.items()}


def _regions(points: NDArray[np.float64], marks: dict[str, NDArray[np.float64]]) -> NDArray[np.int64] | None:
    """(n,) row of `SKIN` of each point, posed and at life size as landmarks lie on a mean head; None without any."""
    if not marks:
        return None
    mean = mean_head()
    names = [name for name in marks if name in mean and name != "vertex"]
    pose = matched(np.array([marks[name] for name in names]), np.array([mean[name] for name in names]), scaled=True)
    posed = {name: applied(pose, marks[name][None])[0] for name in names}
    return skin_regions(Mesh(applied(pose, points), np.zeros((0, 3), np.int32)), posed)


def _fitted(fit: str, region: NDArray[np.int64] | None, name: str) -> NDArray[np.bool_] | slice:
    """Which points of A are fitted."""
    if fit not in FITS:
        raise BadSetting(f"compare: fit is one of {', '.join(FITS)}, not {fit!r}")
    if fit == "all":
        return slice(None)
    if region is None:
        raise BadSetting(f"compare: {name} has no landmarks to tell the {fit} by: give them with --landmarks")
    chosen: NDArray[np.bool_] = region == SKIN.index(fit)
    if not chosen.any():
        raise BadSetting(f"compare: {name} has nothing of the {fit}")
    return chosen
