"""Signed deviations in figures: over all, as a histogram, and by region of the skin."""

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from ..anatomy.face.proportions import mean_head
from ..anatomy.skin.region_names import SKIN
from ..anatomy.skin.skin_regions import skin_regions
from ..geometry.distances.deviation import deviation_figures
from ..geometry.mesh import Mesh
from ..geometry.transforms import applied, matched
from .heat_map import histogram

FEWEST_MARKS = 7
"""Landmarks that tell the regions of the skin apart, the vertex among them counting for nothing."""
_BINS = 40
_SAMPLE = 20_000
_STILL = 1e-3  # mm; a place that was not touched lies no farther off than that, rounding of files included
_FACE = [SKIN.index(name) for name in ("face", "lids", "lips", "nose", "orbit", "chin", "beard")]
"""Rows of the regions in which no head is cut or parted."""


def figures_of(values: NDArray[np.float64], region: NDArray[np.int64] | None) -> dict[str, Any]:
    """`deviation_figures`, `histogram` (`edges_mm`, `counts`) and, where regions are known, `regions` with the same
    figures for each that has any.

    Parameters
    ----------
    values : (n,) signed deviations, mm
    region : (n,) row of `SKIN` of each, or None
    """
    counts, edges = histogram(values, reach_of(values), _BINS)
    figures = {**deviation_figures(values), "histogram": {"edges_mm": edges.tolist(), "counts": counts.tolist()}}
    if region is not None:
        there = [number for number in range(len(SKIN)) if (region == number).any()]
        figures["regions"] = {SKIN[number]: deviation_figures(values[region == number]) for number in there}
    return figures


def reach_of(values: NDArray[np.float64]) -> float:
    """Millimetres that all but a hundredth of the values stay within: where colours are full."""
    return float(np.percentile(np.abs(values), 99)) or 1e-6


def reach_over(
    base: NDArray[np.float64],
    points: NDArray[np.float64],
    values: NDArray[np.float64],
    region: NDArray[np.int64] | None = None,
) -> float:
    """Millimetres within which lies all but a fiftieth of what of A is nearest to B's surface and off it at all.

    What A has besides, such as the inner wall of a hollow or a peg, is nearest to no place of B's surface: however
    much of it there is, it does not wash out the colours of the skin. Where regions are known only the face counts:
    neck and crown may have been cut off, and what is nearest to them then lies far away.

    Parameters
    ----------
    base : (m, 3) vertices of B, mm
    points : (n, 3) vertices or points of A, mm
    values : (n,) their signed deviations from B, mm
    region : (n,) row of `SKIN` of each, or None
    """
    sample = base[:: len(base) // _SAMPLE + 1]
    _, nearest = cKDTree(points).query(sample, workers=-1)
    of_face = [] if region is None else nearest[np.isin(region[nearest], _FACE)]
    off = np.abs(values[of_face if len(of_face) else nearest])
    moved = off[off > _STILL]
    return float(np.percentile(moved, 98)) if len(moved) else reach_of(values)


def regions_of(points: NDArray[np.float64], marks: Mapping[str, NDArray[np.float64]]) -> NDArray[np.int64]:
    """(n,) row of `SKIN` of each point of a head in any pose and size, by its landmarks.

    Raises
    ------
    NotReady
        Too few landmarks.
    """
    mean = mean_head()
    names = [name for name in marks if name in mean and name != "vertex"]
    pose = matched(np.array([marks[name] for name in names]), np.array([mean[name] for name in names]), scaled=True)
    posed = {name: applied(pose, marks[name][None])[0] for name in names}
    return skin_regions(Mesh(applied(pose, points), np.zeros((0, 3), np.int32)), posed)
