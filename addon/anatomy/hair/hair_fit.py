"""Hair made for one head refitted to another's scalp: the scalp is carried over, the strands keep their shapes."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from ...geometry.clouds.thinning import thinned
from ...geometry.distances.sided import Sided
from ...geometry.errors import NotPossible
from ...geometry.mesh import Mesh
from ...geometry.progress import SILENT, Progress
from ...geometry.quad_meshes.splitting import split
from ...geometry.refitting.carrying import carried_onto
from ...geometry.refitting.gap_judging import LaidAt
from ...geometry.refitting.gap_laying import laid_at_gap
from ...geometry.refitting.stiff_graph import stiffly_carried
from ...geometry.refitting.strand_shapes import Distortion, distortion
from ...geometry.refitting.under_side import faces_under, innermost, lying_on

Vectors = NDArray[np.float64]
Pairs = tuple[Vectors, Vectors]

ANCHORS = 9.0
"""Millimetres between the places of the scalp that are carried over."""
NODES = 7.0
"""Millimetres between the nodes that keep the strands' shapes: finer than a lock is long, coarser than it is thick."""
LONGEST = 5.0
"""Millimetres beyond which an edge is halved first, so that it can bend with what is beside it."""
_FEWEST = 30  # vertices that must lie on the scalp


@dataclass(frozen=True, eq=False)
class HairFit:
    """The refitted hair, lengths in millimetres at life size.

    `laid` holds it with its under side and heights; `strands` how its shapes changed there where it does not lie on
    the scalp; `moved` (n,) how far each of its first vertices came.
    """

    laid: LaidAt
    strands: Distortion
    moved: NDArray[np.float64]


def fit_hair(
    hair: Mesh,
    surface: Sided,
    old: Sided | None,
    pairs: Pairs | None,
    gap: float,
    tolerance: float,
    reach: float,
    hold: float,
    progress: Progress = SILENT,
) -> HairFit:
    """Hair laid on a new scalp.

    Parameters
    ----------
    hair : closed or a sheet, placed on the new head as well as turning, moving and scaling can
    surface : the new head; all lengths are millimetres at life size
    old : the head the hair was made for, placed with it; None takes the hair's own inner side for its scalp
    pairs : (k, 3) landmarks of the old head, placed with it, and (k, 3) those of the new one
    gap : height of the under side over the scalp; negative reaches under it
    tolerance : how far the under side may lie off that
    reach : height over the old scalp up to which hair lies on it
    hold : from 0, where hair follows the scalp's change of form, to 1, where strands keep theirs

    Raises
    ------
    NotPossible
        The hair does not lie on the head it is said to be made for, or not on the new one.
    """
    progress(0.0, "looking for the hair's under side")
    hair, _ = split(hair, LONGEST)
    if old is None:
        under = innermost(hair, surface.query(hair.vertices)[1])
        places, ways, height = _inner_scalp(hair, under, surface)
    else:
        under, height = lying_on(hair, old, reach)
        _, ways = old.query(hair.vertices[under])
        places = hair.vertices[under] - height[under, None] * ways
    _needs_enough(under, "the head it was made for" if old is not None else "the head")
    rows = _spread(places, ANCHORS)
    carry = carried_onto(places[rows], ways[rows], surface, pairs, old is None, progress.stretch(0.1, 0.4))
    if old is None:
        height = surface.query(carry(hair.vertices))[0]
        under &= height <= 2 * reach
        _needs_enough(under, "the head")
    moved = stiffly_carried(hair.vertices, under.astype(np.float64), carry, NODES, hold, progress.stretch(0.4, 0.6))
    facing = under | (faces_under(hair, surface.query(hair.vertices)[1]) & np.isfinite(height))
    wanted = np.where(facing, _aims(height, gap, reach if old is not None else 2 * reach), np.nan)
    laid = laid_at_gap(
        replace(hair, vertices=moved), under, wanted, surface, gap, tolerance, progress.stretch(0.6, 1.0)
    )
    after = laid.mesh.vertices[: len(hair.vertices)]
    return HairFit(
        laid,
        distortion(hair.vertices, after, hair.triangles, ~under),
        np.linalg.norm(after - hair.vertices, axis=1),
    )


def _inner_scalp(hair: Mesh, under: NDArray[np.bool_], surface: Sided) -> tuple[Vectors, Vectors, NDArray[np.float64]]:
    """The inner side taken for the old scalp: its places, the ways off the new one there, and no height."""
    return hair.vertices[under], surface.query(hair.vertices[under])[1], np.zeros(len(hair.vertices))


def _needs_enough(under: NDArray[np.bool_], what: str) -> None:
    if under.sum() < _FEWEST:
        raise NotPossible(
            f"only {int(under.sum())} vertices of the hair lie on {what}: both must be in one frame and unit, "
            "and the hair must reach the scalp"
        )


def _spread(points: Vectors, spacing: float) -> NDArray[np.int64]:
    """Rows of points about so far apart."""
    rows: NDArray[np.int64] = np.unique(cKDTree(points).query(thinned(points, spacing).points)[1])
    return rows


def _aims(height: NDArray[np.float64], gap: float, reach: float) -> NDArray[np.float64]:
    """Heights wanted: the gap up to the reach, from three times the reach on none (NaN), a soft passage between."""
    share = np.clip((height - reach) / (2 * reach), 0.0, 1.0)
    soft = share * share * (3.0 - 2.0 * share)
    return np.where(share < 1.0, gap + soft * np.maximum(height, 0.0), np.nan)
