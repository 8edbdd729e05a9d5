"""The base head drawn onto a surface by matching points, level by level, as far as was seen."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RBFInterpolator

from ...geometry.errors import NotReady
from ...geometry.progress import SILENT, Progress
from ...geometry.quad_meshes.goal import Goal
from ...geometry.quad_meshes.nonrigid import COARSE, FINE, Wanted, carried, detailed, fitted, roughly_fitted
from ...geometry.quad_meshes.quads_fairing import faired
from ...geometry.quad_meshes.subdivision import refined
from ...geometry.quad_meshes.unfolding import unfolded
from ...geometry.transforms import applied, matched
from .base_head import BaseHead

FEWEST = 4
"""Pairs of points a fit begins with at least; fewer leave the pose open."""
DOUBT = (3.0, 0.12, 9.0)
"""Millimetres between a point and where all others would put it from which the pair is doubted: so many, this share of
the way to the nearest other pair on top, and never more than the last. Among the landmarks of 30 demo variants the
largest is 5.3 (a tragion, 81 mm from the next; 9 here), 4.5 at a corner of the mouth (28 mm; 6.4), 2.7 at a canthus
(15 mm; 4.8)."""
_NEAR = 1.5  # mm at which the first finer level's pull has fallen to a half: what is left of the way by then
EAR_TRUST = 0.3
"""Share of the pull an ear's vertex follows: its folds lie closer together than faces are wide."""

Places = Mapping[str, NDArray[np.float64]]


@dataclass(frozen=True, eq=False)
class BaseFit:
    """The base as it came to lie, (n,) how strongly each vertex was drawn there (0 where nothing was seen), the pairs
    the others contradict with by how many millimetres, and how many faces still fold.
    """

    head: BaseHead
    seen: NDArray[np.float64]
    doubted: dict[str, float]
    folded: int


def fit_base(
    base: BaseHead,
    goal: Goal,
    pairs: Mapping[int, NDArray[np.float64]],
    level: int,
    progress: Progress = SILENT,
    left_alone: NDArray[np.bool_] | None = None,
) -> BaseFit:
    """The base laid onto a surface.

    Parameters
    ----------
    base : in any pose and size
    goal : the surface, millimetres at life size
    pairs : vertex of the base to its place on the surface, at least `FEWEST`
    level : how often to subdivide, each time putting what the scan shows onto the finer faces
    progress : told how far the work is
    left_alone : (n,) mask of vertices of the base that nothing draws: they keep its shape

    Raises
    ------
    NotReady
        Too few pairs.
    """
    if len(pairs) < FEWEST:
        raise NotReady(f"a base needs at least {FEWEST} matching points, and there are {len(pairs)}: run landmarks")
    rows = np.array(sorted(pairs), dtype=np.int64)
    places = np.array([pairs[row] for row in rows.tolist()])
    vertices = applied(matched(base.vertices[rows], places, scaled=True), base.vertices)
    doubted = contradicting(vertices[rows], places)
    names = {row: name for name, row in base.landmarks.items()}
    trust = np.where(base.in_region("ears"), EAR_TRUST, 1.0)
    if left_alone is not None:
        trust[left_alone] = 0.0
    start = carried(vertices, base.quads, rows, places)
    wanted = Wanted(goal, rows, places, trust)
    drawn = roughly_fitted(start, base.quads, wanted, COARSE, progress.stretch(0.0, 0.2))
    drawn = fitted(start, base.quads, wanted, FINE, progress.stretch(0.2, 0.4), drawn)
    vertices, folded = unfolded(start, _mended(drawn, base, rows, 0.5), base.quads)
    head, seen = replace(base, vertices=vertices), np.zeros(len(vertices))
    for number in range(level):
        progress(0.4 + 0.6 * number / level, f"detail at level {number + 1}")
        matrix = refined(head.quads, len(head.vertices)).matrix
        head = head.finer(1)
        wanted = replace(wanted, trust=np.clip(matrix @ wanted.trust, 0.0, 1.0))
        drawn, seen = detailed(head.vertices, head.quads, wanted, _NEAR / (number + 1))
        vertices, folded = unfolded(head.vertices, _mended(drawn, head, rows, 0.3), head.quads)
        head = replace(head, vertices=vertices)
    if not level:
        seen = detailed(head.vertices, head.quads, wanted, _NEAR)[1]
    far = {names.get(int(rows[at]), f"vertex {rows[at]}"): gap for at, gap in doubted.items()}
    return BaseFit(head, seen, far, folded)


def _mended(
    vertices: NDArray[np.float64], head: BaseHead, rows: NDArray[np.int64], reach: float
) -> NDArray[np.float64]:
    """Poor faces made even, by so many millimetres at most; the matching points stay nearly where they are."""
    allowed = np.full(len(vertices), reach)
    allowed[rows] = 0.1
    return faired(vertices, head.quads, allowed, turns=30)


def contradicting(laid: NDArray[np.float64], places: NDArray[np.float64]) -> dict[int, float]:
    """Which pairs the others contradict, and how far each place is from where a thin plate through them would put it.

    Parameters
    ----------
    laid : (k, 3) points of the base, turned, moved and scaled onto the head as they fit best
    places : (k, 3) where they belong, millimetres
    """
    found = {}
    for row in range(len(laid)):
        others = np.arange(len(laid)) != row
        if others.sum() < FEWEST:
            continue
        plate = RBFInterpolator(laid[others], places[others] - laid[others], kernel="linear", smoothing=1.0)
        gap = float(np.linalg.norm(laid[row] + plate(laid[row][None])[0] - places[row]))
        least, share, most = DOUBT
        if gap > min(most, least + share * float(np.linalg.norm(laid[others] - laid[row], axis=1).min())):
            found[row] = gap
    return found
