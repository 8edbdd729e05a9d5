"""How far one head is from another: signed deviation with figures, by region, and as colours with a legend."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..anatomy.face.landmark_files import read_landmarks
from ..anatomy.skin.region_names import SKIN
from ..files.png import write_png
from ..files.reading import read
from ..files.writing import write
from ..geometry.cloud import Cloud
from ..geometry.clouds.any_pose import fitted_from_anywhere
from ..geometry.distances.deviation import deviation
from ..geometry.errors import BadCloud, BadMesh, BadSetting
from ..geometry.mesh import Mesh
from ..geometry.progress import SILENT, Progress
from ..geometry.transforms import applied
from .deviations import figures_of, reach_over, regions_of
from .heat_map import cool_warm
from .heat_picture import heat_picture
from .laid_on import FITS
from .sidecar import piece_in
from .staging import staged


def compare(
    a: Path,
    b: Path,
    heat: Path | None = None,
    progress: Progress = SILENT,
    fit: str = "none",
    landmarks: Path | None = None,
    reach: float = 0.0,
) -> dict[str, Any]:
    """Deviation of A, at each of its vertices or points, from the surface B.

    Parameters
    ----------
    a, b : files whose numbers are millimetres; B must hold a surface
    heat : where A is written coloured by its deviation, with the column `deviation`, and beside it as a PNG of the
        same name, seen from three sides over the colours' legend; None: nowhere
    progress : told what is being done
    fit : of `FITS`: what of A is turned and moved onto B first, as it fits best, from wherever it lies
    landmarks : file of A's landmarks, in its coordinates; without, those beside A (`.canthus.json`) where there are any
    reach : millimetres at which the colours are full; 0: as `reach_over` finds it

    Returns
    -------
    `points`, `mean_mm`, `rms_mm`, `p95_mm` (95th percentile of the size), `max_outside_mm`, `max_inside_mm`,
    `sign_from`, `histogram` (`edges_mm`, `counts`); `regions` with the same figures for each region of the skin where
    landmarks tell them, and where A was fitted `fitted_by` (4 by 4) and `pose_found_by_form`. Positive lies outside B.

    Raises
    ------
    BadFile
        A file cannot be read or written.
    BadMesh
        B holds no surface.
    BadCloud
        A holds no points.
    BadSetting
        A fit by a region without landmarks, or by one A has nothing of; a reach below 0.
    """
    progress(0.0, f"reading {a.name}")
    judged = read(a)
    progress(0.1, f"reading {b.name}")
    own = progress.stretch(0.2, 1.0)
    found = compared(judged, read(b), _landmarks(a, landmarks), fit, (a.name, b.name), own, reach)
    if heat is not None:
        write_heat(found, heat)
        return {**found.figures, "colour_reach_mm": found.reach}
    return found.figures


@dataclass(frozen=True, eq=False)
class Compared:
    """A as it was fitted, (n,) its signed deviations from B, mm, the figures that `compare` gives, and the
    millimetres at which the colours of a map are full.
    """

    shape: Mesh | Cloud
    values: NDArray[np.float64]
    figures: dict[str, Any]
    reach: float


def compared(
    judged: Mesh | Cloud,
    base: Mesh | Cloud,
    marks: Mapping[str, NDArray[np.float64]],
    fit: str = "none",
    names: tuple[str, str] = ("A", "B"),
    progress: Progress = SILENT,
    reach: float = 0.0,
) -> Compared:
    """`compare` of shapes at hand.

    Parameters
    ----------
    judged, base : A and B, mm
    marks : A's landmarks in its coordinates; none where there are none
    fit, progress, reach : as for `compare`
    names : what A and B are called in what is said of them
    """
    if reach < 0:
        raise BadSetting(f"compare: reach is {reach:g}: give millimetres above 0, or 0 for what B's surface tells")
    if not isinstance(base, Mesh) or not len(base.triangles):
        raise BadMesh(f"{names[1]} holds points without faces: close it first, then compare")
    points = judged.vertices if isinstance(judged, Mesh) else judged.points
    if not len(points):
        raise BadCloud(f"{names[0]} holds no points: there is nothing to compare")
    region = regions_of(points, marks) if marks else None
    fitted: dict[str, Any] = {}
    if fit != "none":
        progress(0.0, "fitting")
        matrix, far = fitted_from_anywhere(points, base, _fitted(fit, region, names[0]))
        judged, points = judged.moved(matrix), applied(matrix, points)
        fitted = {"fitted_by": matrix.tolist(), "pose_found_by_form": far}
    progress(0.3, f"measuring {len(points):,} points")
    values, sign_from = deviation(points, base)
    progress(1.0, "measured")
    figures = {**figures_of(values, region), "sign_from": sign_from, **fitted}
    return Compared(judged, values, figures, reach or reach_over(base.vertices, points, values, region))


def write_heat(found: Compared, path: Path) -> None:
    """Write A in the colours of its deviation, and beside it a PNG of it from three sides with their legend.

    Raises
    ------
    BadFile
        It cannot be written.
    """
    with staged(path.parent) as waiting:
        write(waiting / path.name, coloured(found.shape, found.values, found.reach))
        with (waiting / path.with_suffix(".png").name).open("wb") as file:
            write_png(file, heat_picture(found.shape, found.values, found.reach))


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
