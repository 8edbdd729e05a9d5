"""The closed surface at one level of a sampled field: a vertex a sheet in each cell, a quad across each crossing."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..bricks import CELL_CORNERS, Bricks
from ..errors import BadMesh
from ..mesh import Mesh
from ..portions import from_portions
from .isosurface_table import EDGES, FLIPPED_FACE, SHEET_COUNTS, SHEETS

_AT_ONCE = 32_768  # cells looked at together: their arrays then stay in the processor's cache


def isosurface(
    values: NDArray[np.floating[Any]],
    level: float = 0.0,
    origin: ArrayLike = (0.0, 0.0, 0.0),
    spacing: ArrayLike = 1.0,
) -> Mesh:
    """The surface where a field on a regular grid passes `level`, with the inside where values are below it.

    Parameters
    ----------
    values : (nx, ny, nz) float array, the field at origin + index * spacing
    level : the value the surface lies at
    origin : (3,) position of values[0, 0, 0], millimetres
    spacing : one step of the grid, millimetres: a number or one for each axis

    Returns
    -------
    Mesh with outward normals, every edge in two triangles and every vertex in one fan; empty where nothing is
    below the level. What reaches the border of the grid is closed off by the border.

    Raises
    ------
    BadMesh
        The field is not three-dimensional or holds a value that is not finite.

    Notes
    -----
    The dual of marching cubes (Nielson 2004, doi 10.1109/VISUAL.2004.28) with the face rule turned round where two
    cells would share an edge four ways (Wenger 2013, Isosurfaces, section 3.5): a manifold for any field.
    """
    values = np.asarray(values)
    if values.ndim != 3 or not values.size:
        raise BadMesh(f"a field of shape {values.shape} has no surface: three axes are needed")
    if not np.isfinite(values).all():
        raise BadMesh("the field holds values that are not finite: there is no telling inside from outside")
    below = np.pad(values < level, 1)
    shape = np.array(values.shape)
    case = np.zeros(tuple(shape + 1), np.uint8)
    for bit, (x, y, z) in enumerate(CELL_CORNERS.tolist()):
        case |= below[x : x + shape[0] + 1, y : y + shape[1] + 1, z : z + shape[2] + 1].view(np.uint8) << np.uint8(bit)
    flat = np.flatnonzero((case != 0) & (case != 255))
    cells = np.stack(np.unravel_index(flat, case.shape), axis=1) - 1
    corners = np.empty((len(cells), 8))
    beyond = 1e6 * (1.0 + float(np.abs(values - level).max()))  # so large that the border itself is the wall
    for bit, offset in enumerate(CELL_CORNERS):
        node = cells + offset
        clipped = np.clip(node, 0, shape - 1)
        corners[:, bit] = values[tuple(clipped.T)] - level
        corners[(node != clipped).any(axis=1), bit] = beyond
    return _surface(cells, corners, case.ravel()[flat], origin, spacing)


def isosurface_of_band(
    nodes: NDArray[np.integer[Any]],
    values: NDArray[np.floating[Any]],
    level: float = 0.0,
    origin: ArrayLike = (0.0, 0.0, 0.0),
    spacing: ArrayLike = 1.0,
) -> Mesh:
    """The surface of a field that is known only at some nodes of a grid: those of a band around the surface.

    Parameters
    ----------
    nodes : (n, 3) int array, each node once, any order, negative allowed
    values : (n,) float array, the field there
    level, origin, spacing : as for `isosurface`

    Returns
    -------
    Mesh as of `isosurface`. Memory goes with the band, not with the box around it.

    Raises
    ------
    BadMesh
        A value is not finite, a node comes twice, or the surface leaves the band (it would be left open).
    """
    nodes, values = np.asarray(nodes, dtype=np.int64), np.asarray(values)
    if not np.isfinite(values).all():
        raise BadMesh("the field holds values that are not finite: there is no telling inside from outside")
    if not len(nodes):
        return Mesh(np.empty((0, 3)), np.empty((0, 3), np.int32))
    low = nodes.min(axis=0) - 1
    shape = nodes.max(axis=0) - low + 2
    keys = np.ravel_multi_index(tuple((nodes - low).T), tuple(shape))
    if (keys[1:] <= keys[:-1]).any():
        order = np.argsort(keys, kind="stable")
        keys, values = keys[order], values[order]
    if (keys[1:] == keys[:-1]).any():
        raise BadMesh("the band names a node twice: unify its nodes first")
    ordered: NDArray[np.int64] = np.stack(np.unravel_index(keys, tuple(shape)), axis=1) + low
    grid, below = Bricks(ordered), values < level

    def active_in(part: slice) -> tuple[NDArray[np.int64], NDArray[np.uint8], NDArray[np.int32], int]:
        """Active cells of a portion, by their first node, their cases and nodes; how often grid lines are crossed."""
        around = np.stack([grid.beside(part, offset) for offset in CELL_CORNERS])
        inside = below.take(around, mode="clip")
        case = np.packbits(inside, axis=0, bitorder="little")[0]
        crossed = (around[[1, 2, 4]] >= 0) & (inside[[1, 2, 4]] != inside[0])
        rows = np.flatnonzero((around >= 0).all(axis=0) & (case != 0) & (case != 255))
        return rows + part.start, case[rows], around[:, rows].T, int(crossed.sum())

    told = from_portions(len(ordered), _AT_ONCE, active_in)
    active, case, around = (np.concatenate([each[k] for each in told]) for k in (0, 1, 2))
    corners = values[around].astype(np.float64) - level
    mesh = _surface(ordered[active], corners, case, origin, spacing)
    if len(mesh.triangles) != 2 * sum(crossings for *_, crossings in told):
        raise BadMesh("the surface leaves the band of known values: widen the band")
    return mesh


def _surface(
    cells: NDArray[np.int64],
    corners: NDArray[np.float64],
    case: NDArray[np.uint8],
    origin: ArrayLike,
    spacing: ArrayLike,
) -> Mesh:
    """Vertices and triangles of the active cells: `corners` are their eight values less the level."""
    step = np.broadcast_to(np.asarray(spacing, dtype=np.float64), 3)
    if not len(cells):
        return Mesh(np.empty((0, 3)), np.empty((0, 3), np.int32))
    grid = Bricks(cells)
    row = case.astype(np.int64) + 256 * _turned_round(grid, case)
    first = np.concatenate([[0], np.cumsum(SHEET_COUNTS[row])])
    start: NDArray[np.float64] = np.asarray(origin, dtype=np.float64)

    def placed(part: slice) -> NDArray[np.float64]:
        places = _places(corners[part], row[part], step) + np.repeat(cells[part], SHEET_COUNTS[row[part]], axis=0)
        return start + step * places

    vertices = np.concatenate(from_portions(len(cells), _AT_ONCE // 4, placed))
    quads = np.concatenate(
        [
            quad
            for axis in range(3)
            for quad in from_portions(len(cells), _AT_ONCE, _Quads(grid, row, first, case, axis).of)
        ]
    )
    return Mesh(
        vertices, np.concatenate(from_portions(len(quads), _AT_ONCE, lambda part: _halved(vertices, quads[part])))
    )


def _turned_round(grid: Bricks, case: NDArray[np.uint8]) -> NDArray[np.bool_]:
    """Cells whose ambiguous face has to be joined the other way, because both sides would share one edge twice."""
    turned = np.zeros(len(case), bool)
    face = FLIPPED_FACE[case]  # 2 * axis + side, or -1
    for axis in range(3):
        here = np.flatnonzero(face == 2 * axis + 1)
        there = grid.beside(here, np.eye(3, dtype=np.int64)[axis])
        both = (there >= 0) & (face[there] == 2 * axis)
        turned[here[both]] = turned[there[both]] = True
    return turned


def _places(corners: NDArray[np.float64], row: NDArray[np.int64], step: NDArray[np.float64]) -> NDArray[np.float64]:
    """(v, 3) vertices in cell units: the mean of a sheet's crossings, drawn onto the field where there is one sheet."""
    counts = SHEET_COUNTS[row]
    first = np.cumsum(counts) - counts
    places = np.empty((int(counts.sum()), 3))
    lower, upper = EDGES.T
    for sheet in range(int(counts.max(initial=0))):
        has = np.flatnonzero(counts > sheet)
        crossed = SHEETS[row[has]] == sheet
        ahead, behind = corners[has][:, lower], corners[has][:, upper]
        along = np.divide(ahead, ahead - behind, out=np.zeros_like(ahead), where=crossed)
        total = crossed @ CELL_CORNERS[lower] + along @ (CELL_CORNERS[upper] - CELL_CORNERS[lower])
        places[first[has] + sheet] = total / crossed.sum(axis=1, keepdims=True)
    single = np.flatnonzero(counts == 1)
    for _ in range(2):
        places[first[single]] = _drawn(places[first[single]], corners[single], step)
    return places


def _drawn(places: NDArray[np.float64], corners: NDArray[np.float64], step: NDArray[np.float64]) -> NDArray[np.float64]:
    """One Newton step along the gradient of the trilinear field, kept within the cell."""
    x, y, z = places.T
    a = corners.T
    x00, x10 = a[0] + x * (a[1] - a[0]), a[2] + x * (a[3] - a[2])
    x01, x11 = a[4] + x * (a[5] - a[4]), a[6] + x * (a[7] - a[6])
    y0, y1 = x00 + y * (x10 - x00), x01 + y * (x11 - x01)
    value = y0 + z * (y1 - y0)
    along_x = (1 - z) * ((1 - y) * (a[1] - a[0]) + y * (a[3] - a[2])) + z * (
        (1 - y) * (a[5] - a[4]) + y * (a[7] - a[6])
    )
    slopes = np.stack([along_x, (1 - z) * (x10 - x00) + z * (x11 - x01), y1 - y0], axis=1) / step
    steepness = np.einsum("ij,ij->i", slopes, slopes)
    length = value / np.where(steepness > 0, steepness, np.inf)
    drawn: NDArray[np.float64] = np.clip(places - length[:, None] * slopes / step, 1e-3, 1 - 1e-3)
    return drawn


@dataclass(frozen=True, eq=False)
class _Quads:
    """The quads across the grid's lines along one axis; `first` is the first vertex of each cell."""

    grid: Bricks
    row: NDArray[np.int64]
    first: NDArray[np.int64]
    case: NDArray[np.uint8]
    axis: int

    def of(self, part: slice) -> NDArray[np.int64]:
        """(q, 4) vertices around the crossed edges at the cells' first corners, counter-clockwise from outside."""
        one, other = np.eye(3, dtype=np.int64)[[(self.axis + 1) % 3, (self.axis + 2) % 3]]
        edge = 4 * self.axis  # the edge of this axis at the cell's first corner
        own = np.flatnonzero(SHEETS[self.row[part], edge] >= 0) + part.start
        around, found = [self.first[own] + SHEETS[self.row[own], edge]], np.ones(len(own), bool)
        for back_one, back_other in ((1, 0), (1, 1), (0, 1)):
            there = self.grid.beside(own, -back_one * one - back_other * other)
            found &= there >= 0
            around.append(self.first[there] + SHEETS[self.row[there], edge + back_one + 2 * back_other])
        quad: NDArray[np.int64] = np.stack(around, axis=1)[found]
        inward = (self.case[own] & 1 == 0)[found]  # the first corner is outside: the surface faces down the axis
        quad[inward] = quad[inward, ::-1]
        return quad


def _halved(vertices: NDArray[np.float64], quads: NDArray[np.int64]) -> NDArray[np.int32]:
    """Two triangles a quad, along its shorter diagonal."""
    diagonals = vertices[quads[:, 2:]] - vertices[quads[:, :2]]
    squared = np.einsum("qdi,qdi->qd", diagonals, diagonals)
    turned = squared[:, 1] < squared[:, 0]
    quads = np.where(turned[:, None], np.roll(quads, -1, axis=1), quads)
    return quads[:, [0, 1, 2, 0, 2, 3]].reshape(-1, 3).astype(np.int32)
