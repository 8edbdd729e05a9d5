"""Surfaces at a set distance from a closed mesh, from distances asked for only where such a surface can pass."""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from ..bricks import CELL_CORNERS, block
from ..distances.closest import ClosestPoint
from ..distances.rough_distance import RoughDistance
from ..distances.winding import Winding
from ..errors import NotPossible
from ..linked import linked_pieces
from ..measures import needs_closed
from ..mesh import Mesh
from ..progress import SILENT, Progress
from ..surfacing.isosurface import isosurface_of_band

Field = Callable[[NDArray[np.float64], float], NDArray[np.float64]]


def inset(
    mesh: Mesh, depth: float, spacing: float, progress: Progress = SILENT, skin: RoughDistance | None = None
) -> Mesh:
    """The surface at `depth` under the skin of a closed mesh, facing outwards; empty where nothing is that deep.

    Parameters
    ----------
    mesh : a closed mesh; where it cuts itself, inside is where its winding number is a half or more
    depth : millimetres
    spacing : step of the grid it is found on, millimetres, at most a quarter of the depth
    skin : the distance to the mesh, where it is at hand

    Notes
    -----
    Found by `RoughDistance`, a few hundredths of a step too shallow, and rounded by half a step at creases;
    `drawn_to` puts its vertices at the exact depth.
    """
    needs_closed(mesh, "the mesh")
    skin = skin or _seen_from(depth, mesh, spacing)
    nodes, values = level_band(skin.query, depth, mesh.vertices, spacing, Winding(mesh).inside, progress)
    return isosurface_of_band(nodes, -values, -depth, mesh.vertices.min(axis=0), spacing)


def opened(mesh: Mesh, depth: float, radius: float, spacing: float, progress: Progress = SILENT) -> Mesh:
    """The surface at `depth` under the skin where a ball of `radius` can touch it from within, else the ball's own.

    Parameters
    ----------
    mesh, spacing : as for `inset`
    depth, radius : millimetres

    Notes
    -----
    An opening (Serra 1982): what `inset` finds at depth + radius, grown back by the radius.
    """
    skin = _seen_from(depth, mesh, spacing)
    core = inset(mesh, depth + radius, spacing, progress.stretch(0.0, 0.5), skin)
    if not len(core.triangles):
        return core
    spacing = min(spacing, radius)
    face = RoughDistance(core, spacing / 3)

    def height(points: NDArray[np.float64], far: float) -> NDArray[np.float64]:
        """Over the core's face; within it, how much too deep. Outside the head the skin is nearer than the face."""
        height = face.query(points, far + spacing)
        near = np.flatnonzero(np.isfinite(height))
        below = skin.query(points[near])
        within = (below > depth + radius) & (height[near] < below)
        height[near[within]] = depth + radius - below[within]
        return height

    reach = np.array([core.vertices.min(axis=0) - radius, core.vertices.max(axis=0) + radius])
    # The height jumps at the core's face by the gaps between the dots, which are no wider than the spacing.
    nodes, values = level_band(height, radius, reach, spacing, None, progress.stretch(0.5, 1.0), spacing)
    return isosurface_of_band(nodes, values, radius, reach[0], spacing)


def _seen_from(depth: float, mesh: Mesh, spacing: float) -> RoughDistance:
    """The distance to the mesh by dots whose widest gaps, seen from that depth, count for a quarter of the spacing."""
    if spacing > depth / 4:
        raise NotPossible(f"a grid of {spacing:g} mm is too coarse for a depth of {depth:g} mm: take a quarter of it")
    return RoughDistance(mesh, (spacing * depth / 18) ** 0.5)


def drawn_to(surface: Mesh, closest: ClosestPoint, depth: float, near: float) -> Mesh:
    """The surface with each vertex that is less than `near` deeper than `depth`, or shallower, put at that depth."""
    distance, _, place = closest.query(surface.vertices)
    wanted = (distance < depth + near) & (distance > 0)
    away = (surface.vertices - place) / np.where(wanted, distance, 1.0)[:, None]
    vertices = np.where(wanted[:, None], place + depth * away, surface.vertices)
    return Mesh(vertices, surface.triangles, surface.colours, surface.columns)


def level_band(
    distance: Field,
    level: float,
    within: NDArray[np.float64],
    spacing: float,
    inside: Callable[[NDArray[np.float64]], NDArray[np.bool_]] | None = None,
    progress: Progress = SILENT,
    doubt: float = 0.0,
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """The nodes of a grid about one level of a distance, and the distance there.

    Parameters
    ----------
    distance : gives the distance at (n, 3) points, exact up to the second argument; it must nowhere change faster
        than the points do, but for a jump of `doubt`
    level : the level looked for, millimetres
    within : (k, 3) points whose bounding box holds the level; the grid starts at its low corner
    spacing : step of the grid, millimetres
    inside : where given, only the level's sheet inside is kept; `distance` then needs no sign
    doubt : how far the distance may jump, millimetres; nodes so much farther off are looked at too

    Returns
    -------
    nodes : (n, 3) int64 steps from the low corner
    values : (n,) float64, millimetres

    Notes
    -----
    Cells of 16 steps are asked for the distance at their middle, halved where the level can be within half their
    diagonal, and so on down to 2 steps: a distance changes by no more than the way gone.
    """
    low, high = within.min(axis=0), within.max(axis=0)
    size = 16
    cells = np.stack(np.meshgrid(*(np.arange(n) for n in np.ceil((high - low) / (size * spacing)).astype(int) + 1)), -1)
    cells = (cells.reshape(-1, 3) - 1) * size + size // 2  # half a cell over on every side
    told_apart = inside is None
    while True:
        progress({16: 0.0, 8: 0.05, 4: 0.15, 2: 0.3}[size], "finding where the surface passes")
        middles = low + (cells + size / 2) * spacing
        half_diagonal = size * spacing * 3**0.5 / 2
        reach = half_diagonal + doubt
        cells = cells[np.abs(distance(middles, level + reach) - level) <= reach]
        if inside is not None and not told_apart and (half_diagonal < level / 2 or size == 2):
            cells, told_apart = cells[_by_region(cells, size, low, spacing, inside)], True
        if size == 2:
            break
        size //= 2
        cells = (cells[:, None] + CELL_CORNERS * size).reshape(-1, 3)
    nodes = _distinct((cells[:, None] + block(3, 3, 3)).reshape(-1, 3))
    progress(0.5, "measuring distances")
    return nodes, distance(low + nodes * spacing, np.inf)


def _by_region(
    cells: NDArray[np.int64],
    size: int,
    low: NDArray[np.float64],
    spacing: float,
    inside: Callable[[NDArray[np.float64]], NDArray[np.bool_]],
) -> NDArray[np.bool_]:
    """(n,) whether cells that the surface does not reach are inside: asked once for all that hang together."""
    if not len(cells):
        return np.zeros(0, bool)
    steps = (cells - cells.min(axis=0)) // size
    shape = steps.max(axis=0) + 2  # one to spare, so that no row runs on into the next
    keys = np.ravel_multi_index(tuple(steps.T), tuple(shape))
    order = np.argsort(keys)
    pairs = []
    for stride in (1, shape[2], shape[1] * shape[2]):
        there = np.minimum(np.searchsorted(keys[order], keys + stride), len(keys) - 1)
        met = np.flatnonzero(keys[order[there]] == keys + stride)
        pairs.append(np.stack([met, order[there[met]]]))
    rows, columns = np.concatenate(pairs, axis=1)
    regions = linked_pieces(rows, columns, len(keys))
    _, first = np.unique(regions, return_index=True)
    answers: NDArray[np.bool_] = inside(low + (cells[first] + size / 2) * spacing)[regions]
    return answers


def _distinct(nodes: NDArray[np.int64]) -> NDArray[np.int64]:
    if not len(nodes):
        return nodes
    low = nodes.min(axis=0)
    shape = tuple((nodes.max(axis=0) - low + 1).tolist())
    keys = np.unique(np.ravel_multi_index(tuple((nodes - low).T), shape))
    distinct: NDArray[np.int64] = np.stack(np.unravel_index(keys, shape), axis=1) + low
    return distinct
