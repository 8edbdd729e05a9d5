"""Walls put across tunnels and gaps through bridges, in the field a surface is cut from: the surface stays sound."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from .banding import Band, followed
from .handles import short_loops
from .isosurface import isosurface, isosurface_of_band
from .measures import components
from .mesh import Mesh

Field = Callable[[NDArray[np.int64]], NDArray[np.float64]]


@dataclass(frozen=True, eq=False)
class Drawn:
    """A closed surface of one piece, the pieces dropped beside it, the walls and gaps it took."""

    mesh: Mesh
    pieces_dropped: int
    walls: int


def drawn_without_handles(
    band: Band, field: Field, origin: NDArray[np.float64], step: float, longest: float, rounds: int = 6
) -> Drawn:
    """The surface of a field in a band, its short tunnels walled up and its thin bridges parted.

    Parameters
    ----------
    band : nodes about the surface and the field there, millimetres, negative inside
    field : gives the values at other nodes
    origin, step : of the grid, millimetres
    longest : loops up to this long round a tunnel or bridge count as faults, millimetres
    rounds : how often the surface is looked at again at most

    Notes
    -----
    A disc of two grid steps' thickness across each loop is joined to the body or taken out of it, whichever lowers the
    genus there and changes less. Mending the field rather than the triangles keeps the surface free of crossings.
    """
    walls: list[_Wall] = []

    def walled(nodes: NDArray[np.int64]) -> NDArray[np.float64]:
        values = field(nodes)
        for wall in walls:
            values = wall.put(origin + nodes * step, values)
        return values

    mesh, dropped = outermost(isosurface_of_band(band.nodes, band.values, 0.0, origin, step))
    for _ in range(rounds):
        before = len(walls)
        for loop in short_loops(mesh, longest):
            places = mesh.vertices[loop]
            if not any(wall.touches(places) for wall in walls[before:]):  # that one may have been enough
                walls += _wall_across(places, walled, origin, step)
        if len(walls) == before:
            break
        values, places = band.values, origin + band.nodes * step
        for wall in walls[before:]:
            values = wall.put(places, values)
        cells = np.concatenate([wall.cells(origin) for wall in walls[before:]])
        band = followed(cells, walled, known=Band(band.nodes, values))
        mesh, dropped = outermost(isosurface_of_band(band.nodes, band.values, 0.0, origin, step))
    return Drawn(mesh, dropped, len(walls))


def _wall_across(loop: NDArray[np.float64], field: Field, origin: NDArray[np.float64], step: float) -> list["_Wall"]:
    """The wall or gap across a loop (k, 3) that takes a handle away, the slighter where both do; none where neither."""
    low = np.floor((loop.min(axis=0) - origin) / step).astype(np.int64) - 4
    high = np.ceil((loop.max(axis=0) - origin) / step).astype(np.int64) + 4
    axes = [np.arange(first, last + 1) for first, last in zip(low.tolist(), high.tolist(), strict=True)]
    nodes = np.stack(np.meshgrid(*axes, indexing="ij"), -1)
    values = field(nodes.reshape(-1, 3))

    def number(values: NDArray[np.float64]) -> int:
        """Euler's number of the surface in the box, closed off by the box."""
        found = isosurface(values.reshape(nodes.shape[:3]))
        return len(found.vertices) - len(found.triangles) // 2

    before, ways = number(values), []
    disc = _disc(loop, step)
    for sign in (-1.0, 1.0):
        wall = _Wall(disc, cKDTree(disc), sign, step)
        after = wall.put(origin + nodes.reshape(-1, 3) * step, values)
        if number(after) > before:
            ways.append((int(((after < 0) != (values < 0)).sum()), sign, wall))
    return [min(ways, key=lambda way: way[:2])[2]] if ways else []


def _disc(loop: NDArray[np.float64], step: float) -> NDArray[np.float64]:
    """Points (n, 3) of the cone from a loop to its middle, less than half a step apart."""
    middle, ahead = loop.mean(axis=0), np.roll(loop, -1, axis=0)
    rim = np.concatenate([loop + share * (ahead - loop) for share in (0.0, 1 / 3, 2 / 3)])
    rings = int(np.ceil(np.linalg.norm(rim - middle, axis=1).max() / (0.4 * step)))
    shares = (np.arange(rings + 1) / max(rings, 1))[:, None, None]
    points: NDArray[np.float64] = (middle + shares * (rim - middle)).reshape(-1, 3)
    return points


def outermost(mesh: Mesh) -> tuple[Mesh, int]:
    """The piece of a closed mesh with the largest volume, and how many others were dropped (islands, cavities)."""
    label = components(mesh)
    if len(label) == 0 or label.max() == 0:
        return mesh, 0
    a, b, c = mesh.corners.transpose(1, 0, 2)
    volumes = np.bincount(label, weights=np.einsum("ij,ij->i", a, np.cross(b, c)))
    return mesh.kept(label == volumes.argmax()), int(label.max())


@dataclass(frozen=True, eq=False)
class _Wall:
    """A disc across a loop, as points: `sign` -1 adds it to the body, 1 takes it out of it."""

    points: NDArray[np.float64]
    tree: cKDTree
    sign: float
    step: float

    def put(self, places: NDArray[np.float64], values: NDArray[np.float64]) -> NDArray[np.float64]:
        """The values at the places (n, 3) with the disc joined or taken out."""
        low, high = self.points.min(axis=0) - 4 * self.step, self.points.max(axis=0) + 4 * self.step
        rows = np.flatnonzero(((places > low) & (places < high)).all(axis=1))
        away = self.tree.query(places[rows], workers=-1)[0] - _HALF * self.step
        after = values.copy()
        after[rows] = np.minimum(values[rows], away) if self.sign < 0 else np.maximum(values[rows], -away)
        return after

    def touches(self, places: NDArray[np.float64]) -> bool:
        """Whether the disc comes near any of the places (n, 3)."""
        away, _ = self.tree.query(places, distance_upper_bound=4 * self.step)
        return bool(np.isfinite(away).any())

    def cells(self, origin: NDArray[np.float64]) -> NDArray[np.int64]:
        """Cells (n, 3) the disc's own faces pass through."""
        around = np.stack(np.meshgrid(*[np.arange(-2, 3)] * 3, indexing="ij"), -1).reshape(-1, 3)
        middles = np.floor((self.points - origin) / self.step).astype(np.int64)
        cells: NDArray[np.int64] = (middles[:, None] + around).reshape(-1, 3)
        return cells


_HALF = 1.0  # grid steps from the disc to its faces: nodes on either side are then parted whatever its slant
