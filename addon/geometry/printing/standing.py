"""Which way up a part is best printed: judged by the supports it needs, what they scar, and what sucks at the film."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..directions import spread_directions
from ..groups import summed
from ..measures import triangle_areas, triangle_normals
from ..mesh import Mesh
from .print_layers import islands, layers_of, suction_cups, upright

Vectors = NDArray[np.float64]
Flags = NDArray[np.bool_]

STEEPEST = np.cos(np.radians(45.0))
"""Faces that look down more steeply than this need holding from below: 45 degrees is common practice, no source."""
SEALED = 20.0
"""Sealed area let pass, mm²: by the whole weight of the air on it 2 N at most (reference values, section 5)."""
FACE_COSTS, ISLAND_COSTS, HEIGHT_COSTS = 6.0, 4.0, 1.0
"""What a square millimetre scarred on the face, an island, and a millimetre of height count for beside a square
millimetre scarred elsewhere or sealed: a judgement of ours, no source."""
FOOTING = 0.1
"""Share of a part's shadow that a foot should have; what it lacks counts as scarred, for supports carry it there."""
_ACROSS = 64  # coarse pixels along the longest side: finer ones changed no choice
_DIRECTIONS, _LOOKED_INTO, _APART = 400, 12, np.cos(np.radians(18.0))
_FLAT, _ON_PLATE = np.cos(np.radians(3.0)), 0.2  # what lies on the plate itself: no support, no scar
_FEET, _A_FOOT = 8, 0.01  # flat faces tried as feet, and the least share of the surface that one of them is
_CELLS = 14  # cells of normals along half an axis: four degrees wide


@dataclass(frozen=True)
class Stand:
    """A part stood on the plate one way.

    Parameters
    ----------
    up : unit vector of the part's own frame that points away from the plate
    suction : widest area sealed against the film, mm²
    islands : places that start in mid-air
    face_scars, other_scars : area that supports scar, mm², on the face and elsewhere
    height : millimetres
    burden : all of it as one figure, the less the better
    """

    up: tuple[float, float, float]
    suction: float
    islands: int
    face_scars: float
    other_scars: float
    height: float
    burden: float


def stands(
    mesh: Mesh, up: Vectors, face: Flags, outside: Flags, plate: tuple[float, float, float] = (np.inf, np.inf, np.inf)
) -> tuple[Stand, Stand]:
    """The part stood with `up` upwards, and stood the best way that was found.

    Parameters
    ----------
    mesh : a closed mesh
    up : (3,) direction
    face : (m,) triangles that are looked at first
    outside : (m,) triangles that supports would stand on; the walls of a hollow are none
    plate : what it has to fit on, width, depth and height in millimetres

    Notes
    -----
    What looks down and how high it comes is found for some hundred directions spread over the sphere; the best of
    them that differ are looked into layer by layer, coarsely. The second stand is the first one itself where none
    carries less.
    """
    normals, areas = triangle_normals(mesh), triangle_areas(mesh)
    feet = np.concatenate([up[None] / np.linalg.norm(up), np.eye(3), -np.eye(3), -_flat_faces(normals, areas)])
    ways = np.concatenate([feet, spread_directions(_DIRECTIONS)])
    pixel = float(np.ptp(mesh.vertices, axis=0).max()) / _ACROSS
    coarse = _snapped(mesh, 0.7 * pixel)
    hull = _hull(coarse)
    heights, middles = _heights(mesh, hull, ways)
    scars, shadows = _looking_down(ways, normals, [areas * (face & outside), areas * (outside & ~face), areas])
    lacking = FOOTING * shadows
    for row, way in enumerate(feet):
        foot = _foot(mesh, normals, way, float((hull @ way).min()))
        scars[:, row] -= [areas[foot][chosen[foot]].sum() for chosen in (face & outside, outside & ~face)]
        lacking[row] -= areas[foot].sum()
    scars, lacking = np.maximum(scars, 0.0), np.maximum(lacking, 0.0)
    quick = FACE_COSTS * scars[0] + scars[1] + lacking + HEIGHT_COSTS * (heights + middles) / 2
    quick = np.where(_fits(hull, ways, plate), quick, np.inf)
    found = []
    for row in (0, *_best_apart(ways, quick)):
        layers = layers_of(coarse, ways[row], pixel, pixel)
        floating = sum(spot.area > 1.5 * pixel**2 for spot in islands(layers))
        sealed = max((cup.area for cup in suction_cups(layers)), default=0.0)
        burden = float(quick[row] + ISLAND_COSTS * floating + max(sealed - SEALED, 0.0))
        x, y, z = np.round(ways[row], 4).tolist()
        on_face, elsewhere = scars[:, row].tolist()
        found.append(Stand((x, y, z), sealed, floating, on_face, elsewhere, float(heights[row]), burden))
    return found[0], min(found, key=lambda stand: stand.burden)


def _cells_of(normals: Vectors) -> NDArray[np.int64]:
    x, y, z = np.round(normals * _CELLS).astype(np.int64).T + _CELLS
    cells: NDArray[np.int64] = (x * (2 * _CELLS + 1) + y) * (2 * _CELLS + 1) + z
    return cells


def _flat_faces(normals: Vectors, areas: NDArray[np.float64]) -> Vectors:
    """(k, 3) the way in which the largest flat faces look."""
    cells = _cells_of(normals)
    sums = summed(cells, areas[:, None] * normals)
    lengths, whole = np.linalg.norm(sums, axis=1), np.bincount(cells, areas)
    flat = (lengths > 0.9999 * whole) & (whole > _A_FOOT * areas.sum())
    largest = np.flatnonzero(flat)[np.argsort(-whole[flat], kind="stable")][:_FEET]
    found: Vectors = sums[largest] / lengths[largest, None]
    return found


def _looking_down(
    ways: Vectors, normals: Vectors, areas: list[NDArray[np.float64]]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Stood each way: (2, k) how much of the first two areas looks down too steeply to hold itself, and (k,) the shadow
    of the last from above. Normals are taken a cell at a time: a way costs the same however many triangles there are.
    """
    cells = _cells_of(normals)
    sums = summed(cells, areas[-1][:, None] * normals)
    filled = np.flatnonzero((sums != 0).any(axis=1))
    looking = ways @ (sums[filled] / np.linalg.norm(sums[filled], axis=1, keepdims=True)).T
    weights = [np.bincount(cells, each)[filled] for each in areas]
    down = looking < -STEEPEST
    return np.stack([down @ weights[0], down @ weights[1]]), np.abs(looking) @ weights[2] / 2


def _foot(mesh: Mesh, normals: Vectors, way: NDArray[np.float64], lowest: float) -> NDArray[np.int64]:
    """The triangles that lie flat on the plate, which is where the part is lowest."""
    flat = np.flatnonzero(normals @ way < -_FLAT)
    levels = (mesh.vertices.take(mesh.triangles.take(flat, axis=0), axis=0) @ way).max(axis=1, initial=-np.inf)
    foot: NDArray[np.int64] = flat[levels < lowest + _ON_PLATE]
    return foot


def _hull(mesh: Mesh) -> Vectors:
    """(k, 3) outermost vertices, which stand for the convex hull."""
    outermost = [(some @ mesh.vertices.T).argmax(axis=1) for some in np.array_split(spread_directions(1000), 20)]
    hull: Vectors = mesh.vertices[np.unique(np.concatenate(outermost))]
    return hull


def _heights(mesh: Mesh, hull: Vectors, ways: Vectors) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """(k,) height of the part stood each way, and its centre of mass over the plate: what is low does not topple."""
    along = ways @ hull.T
    corners = mesh.corners
    shares = np.einsum("ij,ij->i", corners[:, 0], np.cross(corners[:, 1], corners[:, 2]))
    total = float(shares.sum())
    middle = (corners.sum(axis=1) * shares[:, None]).sum(axis=0) / (4 * total) if total else hull.mean(axis=0)
    return np.ptp(along, axis=1), ways @ middle - along.min(axis=1)


def _fits(hull: Vectors, ways: Vectors, plate: tuple[float, float, float]) -> Flags:
    """(k,) whether the part fits on the plate each way; as it stands, always: that is for another finding to say."""
    if np.linalg.norm(np.ptp(hull, axis=0)) <= min(plate):
        return np.ones(len(ways), bool)
    long, short = max(plate[:2]), min(plate[:2])
    fits = [True]
    for way in ways[1:]:
        across, along, height = np.ptp(hull @ upright(way).T, axis=0).tolist()
        fits.append(max(across, along) <= long and min(across, along) <= short and height <= plate[2])
    return np.array(fits)


def _best_apart(ways: Vectors, burdens: NDArray[np.float64]) -> list[int]:
    """The directions of least burden that lie well apart."""
    chosen: list[int] = []
    for row in np.argsort(burdens, kind="stable").tolist():
        if len(chosen) == _LOOKED_INTO or not np.isfinite(burdens[row]):
            break
        if not chosen or (ways[chosen] @ ways[row]).max() < _APART:
            chosen.append(row)
    return chosen


def _snapped(mesh: Mesh, step: float) -> Mesh:
    """The mesh with its vertices moved to a grid and those that meet made one: some sheets may touch, yet every line
    still goes in as often as it comes out, which is what layers are made from.
    """
    places = np.round(mesh.vertices / step).astype(np.int64)
    places -= places.min(axis=0)
    keys = places @ np.array([1 << 42, 1 << 21, 1])
    _, first, number = np.unique(keys, return_index=True, return_inverse=True)
    triangles = number.ravel()[mesh.triangles]
    kept = (triangles != np.roll(triangles, 1, axis=1)).all(axis=1)
    return Mesh(mesh.vertices[first], triangles[kept])
