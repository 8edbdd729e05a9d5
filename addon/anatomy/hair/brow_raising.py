"""Brows on a head: where they are looked for, and the strokes put onto its surface."""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from ...geometry.curves import depth_inside
from ...geometry.errors import NotPossible
from ...geometry.mesh import Mesh
from ...geometry.quad_meshes.splitting import split
from ...geometry.raising.displacing import displaced
from ...geometry.raising.ridges import Ridge, raised
from ...geometry.views.depth_map import depth_map
from ...geometry.views.unrolled import Unrolled, flattened, unrolled
from .brow_guides import BrowGuide, proposed, window
from .brow_search import darkness, found
from .brow_search import raised as standing_off

_BEHIND, _RADIUS = 75.0, 75.0
"""How far behind the brows the axis they are unrolled about lies, and the radius lengths are true at, mm: about a
forehead's; half a head's breadth."""
_PIXEL = 0.3
_BESIDE = (9.0, 7.0)  # mm of skin looked at beside and over or under a brow
_COARSER = (1.2, 0.6, 0.3)  # mm: longest edges on the way to the finest
_FAR = 3.0  # mm from strokes beyond which nothing is raised
_SMOOTH = 0.8  # mm over which the skin is smoothed to tell which way is up

Brow = tuple[BrowGuide, Unrolled, Sequence[Ridge]]


def around(head: Mesh, guide: BrowGuide) -> Unrolled:
    """The surface round a brow, unrolled; life size."""
    places = np.concatenate([guide.upper, guide.lower])
    axis = (0.0, float(places[:, 1].min()) + _BEHIND)
    flat = flattened(places, axis, _RADIUS)[:, :2]
    low, high = flat.min(axis=0) - _BESIDE, flat.max(axis=0) + _BESIDE
    return unrolled(head, axis, _RADIUS, (float(low[0]), float(low[1])), (float(high[0]), float(high[1])), _PIXEL)


def looked_for(
    head: Mesh,
    lightness: tuple[Mesh, NDArray[np.float64]] | None,
    marks: Mapping[str, NDArray[np.float64]],
    side: str,
    source: str,
) -> BrowGuide:
    """The brow of one side as the scan shows it, or as landmarks propose it.

    Parameters
    ----------
    head : posed, life size
    lightness : a surface and how light each of its vertices is, 0 to 255, or None
    marks : landmarks by name
    side : the sitter's "left" or "right"
    source : "any" (colour, else relief, else landmarks), or one of the three

    Raises
    ------
    NotReady
        A landmark it is looked for by is missing.
    NotPossible
        The one source asked for shows no brow.
    """
    x, y, z = head.vertices.T
    front = depth_map(np.stack([x, z, -y], axis=1), head.triangles, *window(marks, side), _PIXEL)
    expected = proposed(marks, side, front)
    if source == "landmarks":
        return expected
    patch = around(head, expected)
    if source in ("any", "colour") and lightness is not None:
        guide = found(patch, darkness(patch, patch.painted(*lightness)), expected, "colour")
        if guide is not None:
            return guide
    if source in ("any", "relief"):
        guide = found(patch, standing_off(patch), expected, "relief")
        if guide is not None:
            return guide
    if source != "any":
        raise NotPossible(f"brows: the scan's {source} shows no {side} brow: draw it as curves, or set source to any")
    return expected


def raised_brows(head: Mesh, scale: float, brows: Sequence[Brow], bed: float, edge: float) -> tuple[Mesh, int, int]:
    """The head with the strokes on it.

    Parameters
    ----------
    head : as the workpiece stands, closed
    scale : its millimetres over those of life, in which all else is given
    brows : each with the skin round it unrolled, and its strokes
    bed : how far the brow as a whole stands off
    edge : longest edge of a triangle under strokes

    Returns
    -------
    The head, how many vertices were kept back since faces would have crossed, and how many cross all the same.
    Vertices beyond the brows are the same to the last bit.
    """
    places = np.concatenate([ridge.places for _, _, ridges in brows for ridge in ridges]) * scale
    widest = scale * max(float(ridge.half_width.max()) for _, _, ridges in brows for ridge in ridges)
    tree = cKDTree(places)
    for longest in (*(each for each in _COARSER if each > edge), edge):  # step by step, so that it grades off
        away, _ = tree.query(head.vertices, distance_upper_bound=_FAR * scale, workers=-1)
        corners = head.corners[np.isfinite(away[head.triangles]).any(axis=1)]
        reach = float(np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max(initial=0.0))
        head, _ = split(head, np.where(away < widest + min(reach, _FAR * scale), longest * scale, np.inf))
    life = head.vertices / scale
    moves = np.zeros(head.vertices.shape)
    for guide, patch, ridges in brows:
        own = cKDTree(np.concatenate([ridge.places for ridge in ridges]))
        near = np.flatnonzero(np.isfinite(own.query(life, distance_upper_bound=_FAR, workers=-1)[0]))
        flat, smooth = patch.flat(life[near]), patch.smoothed(_SMOOTH)
        normals = smooth.normals(flat)
        near, flat, normals = (each[np.isfinite(normals).all(axis=1)] for each in (near, flat, normals))
        height = raised(life[near], normals, ridges) + bed * _fullness(guide, patch, flat)
        moves[near] += scale * height[:, None] * normals
    return displaced(head, moves)


def _fullness(guide: BrowGuide, patch: Unrolled, flat: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n,) share, 0 at the brow's edges to 1 along its middle, at (n, 2) places of the patch."""
    outline = np.concatenate([patch.flat(guide.upper), patch.flat(guide.lower)[::-1]])
    half = float(np.linalg.norm(patch.flat(guide.upper)[:1] - patch.flat(guide.lower)[:1])) / 2
    depth = depth_inside(flat, outline)
    share = np.clip(depth / max(float(depth.max(initial=0.0)), half, 1e-9), 0.0, 1.0)
    fullness: NDArray[np.float64] = share * share * (3 - 2 * share)
    return fullness
