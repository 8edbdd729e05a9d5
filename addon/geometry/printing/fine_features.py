"""What is finer than a printer can draw: edges that thin out to nothing, sheets and needles under a given breadth."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from ..distances.rays import RayCaster
from ..mesh import Mesh
from .thickness import Thickness, wall_thickness

SHARPEST = 35.0
"""Degrees between the two faces of an edge under which it is a knife's: where it is `limit` broad it is still one and a
half times as deep, so that a print loses more than it blunts. A judgement of ours: edges of 45 degrees, as a chamfer
leaves them, are everywhere and print well."""
_SHORTEST = 5.0
"""Breadths over which a feature must reach to be told: a crumb of a scan, a peak's very tip, is no edge."""
_MOST = 1_000_000


@dataclass(frozen=True)
class FineFeature:
    """A stretch of the surface under which there is hardly anything.

    `place` is the thinnest place, halfway through; `across` how far the stretch reaches, `thinnest` and `usual` what is
    under it, in millimetres. `tapers` where it thins out like a knife, not evenly thin like a sheet or a needle.
    """

    place: tuple[float, float, float]
    across: float
    thinnest: float
    usual: float
    tapers: bool


def fine_features(mesh: Mesh, limit: float, caster: RayCaster | None = None) -> list[FineFeature]:
    """Edges, sheets and needles of a closed mesh that are less than `limit` broad, the farthest reaching first.

    Parameters
    ----------
    mesh : a closed mesh
    limit : millimetres; two pixels of the printer, say
    caster : of this mesh, where there is one already

    Notes
    -----
    A place counts when straight behind it, less than `limit` away, the solid ends at a face turned away from it by no
    more than `SHARPEST`: the angle of an edge is that between its faces. The sides of an edge are looked at as far up
    as it is fine, which is farther than places lie apart. A million places take half a second, for the rays are short.
    """
    walls = wall_thickness(mesh, limit / 2, limit, _MOST, SHARPEST, caster)
    thin = walls.only(walls.thickness < limit)
    if not len(thin.place):
        return []
    stretch = _stretches(thin.place, max(limit, 2.5 * walls.spacing))
    pieces = np.split(np.argsort(stretch, kind="stable"), np.cumsum(np.bincount(stretch))[:-1])
    far = [rows for rows in pieces if np.linalg.norm(np.ptp(thin.place[rows], axis=0)) >= _SHORTEST * limit]
    return sorted((_feature(thin.only(rows), limit) for rows in far), key=lambda feature: -feature.across)


def _stretches(places: NDArray[np.float64], reach: float) -> NDArray[np.int64]:
    """(n,) number of the stretch each place belongs to: those are one that hang together in cells of that size."""
    cells, own = np.unique(np.floor(places / reach).astype(np.int64), axis=0, return_inverse=True)
    pairs = cKDTree(cells).query_pairs(1.8, output_type="ndarray")  # cells that touch, by a corner too
    links = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), (len(cells), len(cells)))
    label: NDArray[np.int64] = connected_components(links, directed=False)[1].astype(np.int64).take(own.reshape(-1))
    return label


def _feature(thin: Thickness, limit: float) -> FineFeature:
    row = int(np.argmin(thin.thickness))
    x, y, z = ((thin.place[row] + thin.far_side[row]) / 2).tolist()
    least, usual, most = np.quantile(thin.thickness, [0.1, 0.5, 0.9]).tolist()
    across = float(np.linalg.norm(np.ptp(thin.place, axis=0)))
    return FineFeature((x, y, z), across, float(thin.thickness[row]), usual, most - least > 0.4 * limit)
