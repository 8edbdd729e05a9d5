"""The under side of a part laid at an exact distance over a surface; what lies over it goes along, softly."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from ..clouds.thinning import thinned
from ..distances.sided import Sided
from ..mending.untangling import crossing_triangles, untangled
from ..mesh import Mesh
from ..progress import SILENT, Progress
from ..quad_meshes.splitting import halved
from .gap_judging import NEAR, LaidAt, heights_within, judged, low_faces

WIDTHS = (24.0, 12.0, 6.0, 3.0)
"""Millimetres over which a correction is spread, the coarsest first: broad ones go through the whole thickness of
the part, fine ones stay near its under side."""
_REACH = 2.5  # how far a correction goes, over its width
_EXACT = 4  # times the under side is put at its distance in the end
_STILL = 1e-5  # millimetres; less is no move
_UNTANGLED, _RELAXED = 6, 1.5  # times crossing faces are drawn apart, and by how many millimetres at most
_SPLITS = 7
_MOST = 2_000_000  # triangles
_MARK = "under side"
_STEEPEST = 0.4
"""Most of a correction over its width: with the fall-off's slope of 1.9 over the reach, space then nowhere folds."""


def laid_at_gap(
    part: Mesh,
    under: NDArray[np.bool_],
    wanted: NDArray[np.float64],
    surface: Sided,
    gap: float,
    tolerance: float,
    progress: Progress = SILENT,
) -> LaidAt:
    """The part with its under side at a height over a surface and nothing lower than that.

    Parameters
    ----------
    part : near its place already
    under : (n,) vertices that shall lie at `gap` exactly
    wanted : (n,) height each vertex is drawn to while corrections are spread; NaN for one that just goes along
    surface : what it lies on
    gap : height of the under side over the surface, millimetres; negative reaches under it
    tolerance : how far any place of the under side may lie off that, millimetres

    Notes
    -----
    Corrections are means over cells, coarse to fine, each spread by Shepard's weights and fading with the distance
    from the under side (Wendland 1995, doi 10.1007/BF02123482), so small beside their width that space is nowhere
    folded. Then the under side is put at its height, and its faces are halved where they leave the surface's form.
    """
    vertices = part.vertices
    heard = under | np.isfinite(wanted) | (surface.query(vertices)[0] < NEAR)
    for number, width in enumerate(WIDTHS):
        progress(0.5 * number / len(WIDTHS), "laying the under side")
        rows = _one_a_cell(vertices, np.flatnonzero(heard), width / 5)
        for _ in range(2):
            vertices = vertices + _spread(vertices, rows, _moves(vertices[rows], wanted[rows], surface, gap), width)
    mesh = Mesh(vertices, part.triangles, part.colours, {**part.columns, _MARK: under})
    near = np.flatnonzero(under | (surface.query(vertices)[0] < NEAR + gap))
    before = len(crossing_triangles(part))
    mesh = _apart(_exact(mesh, near, surface, gap), near, surface, gap, before)
    progress(0.6, "fitting its faces to the scalp")
    mesh, rows = _fine(mesh, surface, gap, tolerance)
    if len(rows):
        progress(0.8, "drawing crossing faces apart")
        mesh = _apart(mesh, np.concatenate([near, rows]), surface, gap, before)
        mesh, _ = _fine(mesh, surface, gap, tolerance)  # what was drawn apart may have come too low
    progress(0.9, "measuring the gap")
    columns = {name: values for name, values in mesh.columns.items() if name != _MARK}
    mark = mesh.columns[_MARK].astype(bool)
    freed = int((under & ~mark[: len(under)]).sum())
    return replace(judged(replace(mesh, columns=columns), mark, surface, gap, before), freed=freed)


def _fine(mesh: Mesh, surface: Sided, gap: float, tolerance: float) -> tuple[Mesh, NDArray[np.int64]]:
    """The mesh with faces halved until they follow the surface's form, and the rows of the new vertices."""
    first, faces = len(mesh.vertices), np.arange(len(mesh.triangles))
    for _ in range(_SPLITS):
        coarse = _coarse(mesh, faces, surface, gap, tolerance)
        if not len(coarse) or len(mesh.triangles) + 4 * len(coarse) > _MOST:
            break
        old = len(mesh.vertices)
        mesh = halved(mesh, coarse)
        mesh = _exact(mesh, np.arange(old, len(mesh.vertices)), surface, gap)
        faces = np.flatnonzero((mesh.triangles >= old).any(axis=1))
    return mesh, np.arange(first, len(mesh.vertices))


def _one_a_cell(vertices: NDArray[np.float64], rows: NDArray[np.int64], size: float) -> NDArray[np.int64]:
    """Of some vertices one in each cell of a grid."""
    cells = thinned(vertices[rows], size)
    one: NDArray[np.int64] = rows[cells.order[cells.starts]]
    return one


def _moves(
    vertices: NDArray[np.float64], wanted: NDArray[np.float64], surface: Sided, gap: float
) -> NDArray[np.float64]:
    """Each vertex's way to where it belongs; none for what just goes along and is not too low."""
    height, ways = surface.query(vertices)
    aim = np.where(np.isfinite(wanted), wanted, np.maximum(height, gap))
    return (aim - height)[:, None] * ways


def _spread(
    vertices: NDArray[np.float64], rows: NDArray[np.int64], moves: NDArray[np.float64], width: float
) -> NDArray[np.float64]:
    """(n, 3) moves of all vertices from those of some, as means over cells."""
    cells = thinned(vertices[rows], width / 3)
    mean = cells.sums(moves) / cells.counts[:, None]
    length = np.linalg.norm(mean, axis=1, keepdims=True)
    mean *= np.minimum(1.0, _STEEPEST * width / np.maximum(length, 1e-300))
    tree, reach = cKDTree(cells.points), _REACH * width
    count = min(12, len(cells.points))
    away, near = tree.query(vertices, count, distance_upper_bound=reach, workers=-1)
    away, near = away.reshape(len(vertices), -1), near.reshape(len(vertices), -1)
    touched = np.flatnonzero(np.isfinite(away[:, 0]))
    away, near = away[touched], np.minimum(near[touched], len(mean) - 1)
    share = np.where(np.isfinite(away), np.clip(1.0 - away / width, 0.0, 1.0) ** 2 + 1e-9 / (1.0 + away**2), 0.0)
    share /= share.sum(axis=1, keepdims=True)
    found = np.zeros_like(vertices)
    found[touched] = np.einsum("nk,nkj->nj", share, mean[near]) * _fading(away[:, 0] / reach)[:, None]
    return found


def _fading(share: NDArray[np.float64]) -> NDArray[np.float64]:
    """1 at 0, smooth, 0 from 1 on; nowhere steeper than 2.1."""
    rest = np.clip(1.0 - share, 0.0, 1.0)
    return rest**4 * (1.0 + 4.0 * share)


def _exact(mesh: Mesh, rows: NDArray[np.int64], surface: Sided, gap: float) -> Mesh:
    """Of these vertices those of the under side put at their height, and those that are lower than that."""
    vertices, under = mesh.vertices.copy(), mesh.columns[_MARK].astype(bool)
    for _ in range(_EXACT):
        height, ways = surface.query(vertices[rows])
        moves = np.where(under[rows] | (height < gap), gap - height, 0.0)
        off = np.abs(moves) > _STILL
        rows, moves, ways = rows[off], moves[off], ways[off]
        vertices[rows] += moves[:, None] * ways
    return replace(mesh, vertices=vertices)


def _coarse(mesh: Mesh, faces: NDArray[np.int64], surface: Sided, gap: float, tolerance: float) -> NDArray[np.int64]:
    """Of these faces those of the under side with a place off its height, and any with a place too low."""
    mark, own = mesh.columns[_MARK].astype(bool), np.full(len(mesh.vertices), np.inf)
    rows = np.unique(mesh.triangles[faces])
    own[rows] = surface.query(mesh.vertices[rows])[0]
    faces = low_faces(mesh, faces, own, mark, gap)
    off = heights_within(mesh, faces, surface) - gap
    under = mark[mesh.triangles[faces]].all(axis=1)
    return faces[np.where(under, np.abs(off).max(axis=1), -off.min(axis=1)) > tolerance]


def _apart(mesh: Mesh, near: NDArray[np.int64], surface: Sided, gap: float, before: int) -> Mesh:
    """The mesh without faces that came to cross; hair whose locks cross from the start is left as it is.

    Where drawing them apart does not last, as in a fold too sharp for the faces, the under side there is only kept
    from coming too low.
    """
    for turn in range(0 if before else _UNTANGLED):
        crossing = crossing_triangles(mesh)
        if not len(crossing):
            break
        if turn:
            mesh = _freed(mesh, crossing, turn)
        mesh = _exact(untangled(mesh, reach=_RELAXED)[0], near, surface, gap)
    return mesh


def _freed(mesh: Mesh, faces: NDArray[np.int64], rings: int) -> Mesh:
    """The mesh with nothing of these faces, and so many rings about them, held at the gap."""
    free = np.zeros(len(mesh.vertices), bool)
    free[mesh.triangles[faces]] = True
    for _ in range(rings - 1):
        free[mesh.triangles[free[mesh.triangles].any(axis=1)]] = True
    return replace(mesh, columns={**mesh.columns, _MARK: mesh.columns[_MARK].astype(bool) & ~free})
