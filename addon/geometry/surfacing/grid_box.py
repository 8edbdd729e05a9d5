"""A box cut out of a grid about handles of a surface, in which walls are tried until no short handle is left there."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import label
from scipy.spatial import cKDTree

from ..bricks import Bricks, block
from ..linked import linked_pieces
from ..measures import components
from ..mending.parting_sheets import parted
from ..mesh import Mesh
from .banding import Band
from .handles import short_loops
from .isosurface import isosurface


@dataclass(frozen=True, eq=False)
class Wall:
    """A disc across a loop, as points: `sign` -1 adds it to the body, 1 takes it out of it.

    Its faces lie `half` grid steps from the points.
    """

    points: NDArray[np.float64]
    tree: cKDTree
    sign: float
    step: float
    half: int

    def put(self, places: NDArray[np.float64], values: NDArray[np.float64]) -> NDArray[np.float64]:
        """The values at the places (n, 3) with the disc joined or taken out."""
        reach = (3 + self.half) * self.step
        low, high = self.points.min(axis=0) - reach, self.points.max(axis=0) + reach
        rows = np.flatnonzero(((places > low) & (places < high)).all(axis=1))
        away = self.tree.query(places[rows], workers=-1)[0] - self.half * self.step
        after = values.copy()
        after[rows] = np.minimum(values[rows], away) if self.sign < 0 else np.maximum(values[rows], -away)
        return after

    def touches(self, places: NDArray[np.float64]) -> bool:
        """Whether the disc comes near any of the places (n, 3)."""
        away, _ = self.tree.query(places, distance_upper_bound=4 * self.step)
        return bool(np.isfinite(away).any())

    def cells(self, origin: NDArray[np.float64]) -> NDArray[np.int64]:
        """Cells (n, 3) the disc's own faces pass through."""
        around = block(*[3 + 2 * self.half] * 3) - 1 - self.half
        middles = np.unique(np.floor((self.points - origin) / self.step).astype(np.int64), axis=0)
        cells: NDArray[np.int64] = (middles[:, None] + around).reshape(-1, 3)
        return cells


_HALVES = (1, 2, 3)  # grid steps from the disc to its faces: with one, nodes on either side are parted at any slant


@dataclass(eq=False)
class GridBox:
    """Values at the nodes of a box of a grid, (nx, ny, nz), node `low` (3,) of the grid first, and walls put there.

    The grid's node (i, j, k) lies at `origin` + (i, j, k) * `step`, millimetres.
    """

    values: NDArray[np.float64]
    low: NDArray[np.int64]
    origin: NDArray[np.float64]
    step: float
    walls: list[Wall] = field(default_factory=list)

    @classmethod
    def cut(
        cls, band: Band, rows: Bricks, span: NDArray[np.int64], origin: NDArray[np.float64], step: float
    ) -> "GridBox":
        """The box of nodes span[0] to span[1], a band's values in it, and beyond the band two steps off the surface."""
        shape = span[1] - span[0] + 1
        nodes = block(*shape) + span[0]
        row = rows.of(nodes).reshape(tuple(shape))
        known = row >= 0
        inside = known & (band.values[row] < 0)
        region, count = label(~known)
        within = np.zeros(count + 1, bool)
        for axis in range(3):  # no surface passes between neighbours of which one is not in the band
            for here, there in ((slice(None, -1), slice(1, None)), (slice(1, None), slice(None, -1))):
                one, other = [slice(None)] * 3, [slice(None)] * 3
                one[axis], other[axis] = here, there
                within[region[tuple(one)][inside[tuple(other)]]] = True
        beyond = np.where(within[region], -2 * step, 2 * step)
        return cls(np.where(known, band.values[row], beyond), span[0], origin, step)

    def walled(self, loops: list[NDArray[np.float64]], longest: float, rounds: int = 30) -> list[Wall]:
        """Walls across the loops, each (k, 3), and across those that show up behind them, `longest` at most, mm."""
        for _ in range(rounds):
            before = len(self.walls)
            for loop in loops:
                if not any(wall.touches(loop) for wall in self.walls[before:]):  # that one may have been enough
                    self._put_across(loop)
            if len(self.walls) == before:
                break
            loops = self._loops(longest)
        return self.walls

    def _put_across(self, loop: NDArray[np.float64]) -> None:
        """Put up the wall or gap across a loop that takes a handle away, the slighter where both do."""
        inner = (loop - self.origin) / self.step - self.low
        low = np.maximum(np.floor(inner.min(axis=0)).astype(np.int64) - 3 - _HALVES[-1], 0)
        high = np.minimum(np.ceil(inner.max(axis=0)).astype(np.int64) + 4 + _HALVES[-1], self.values.shape)
        part = tuple(map(slice, low, high))
        values = self.values[part]
        places = self.origin + self.step * (block(*(high - low)) + low + self.low)
        before, disc = _euler(values), _disc(loop, self.step)
        for half in _HALVES:  # a thicker disc swallows what a thin one would make new handles with
            ways = []
            for sign in (-1.0, 1.0):
                wall = Wall(disc, cKDTree(disc), sign, self.step, half)
                after = wall.put(places, values.ravel()).reshape(values.shape)
                if _euler(after) > before:
                    ways.append((int(((after < 0) != (values < 0)).sum()), sign, wall, after))
            if ways:
                _, _, wall, after = min(ways, key=lambda way: way[:2])
                self.values[part] = after
                self.walls.append(wall)
                return

    def _loops(self, longest: float) -> list[NDArray[np.float64]]:
        """Places along the short loops of the surface in the box, its rims at the border closed by a disc each."""
        whole = isosurface(self.values, 0.0, self.origin + self.step * self.low, self.step)
        cells = (whole.vertices - self.origin) / self.step - self.low
        rim = ((cells < 2) | (cells > np.array(self.values.shape) - 3)).any(axis=1)
        inner = whole.kept(~whole.triangles_at(rim))
        piece, found = components(inner), []
        for number in range(int(piece.max(initial=-1)) + 1):
            open_piece = parted(inner.kept(piece == number))[0]
            closed = _capped(open_piece, longest)
            loops = short_loops(closed, longest, longest / 8)
            found += [closed.vertices[loop] for loop in loops if loop.max() < len(open_piece.vertices)]
        return found


def _euler(values: NDArray[np.float64]) -> int:
    """Euler's number of the surface in a box, closed off by the box."""
    found = isosurface(values)
    return len(found.vertices) - len(found.triangles) // 2


def _capped(mesh: Mesh, far: float) -> Mesh:
    """An open surface whose vertices have one fan each, every rim joined to a vertex of its own, `far` millimetres off.

    A disc makes no handle and mends none; so far off no short loop passes it.
    """
    ends = mesh.edges
    size = len(mesh.vertices)
    open_edges = ends[~np.isin(ends @ [size, 1], ends @ [1, size])]
    rim = linked_pieces(open_edges[:, 0], open_edges[:, 1], size)
    rims, number = np.unique(rim[open_edges[:, 0]], return_inverse=True)
    fans = np.column_stack([open_edges[:, ::-1], size + number])
    reach = min(far, float(np.ptp(mesh.vertices, axis=0).max()))
    tops = np.tile(mesh.vertices.max(axis=0) + reach, (len(rims), 1))
    return Mesh(np.concatenate([mesh.vertices, tops]), np.concatenate([mesh.triangles, fans]))


def _disc(loop: NDArray[np.float64], step: float) -> NDArray[np.float64]:
    """Points (n, 3) of the cone from a loop to its middle, less than half a step apart."""
    top, ahead = loop.mean(axis=0), np.roll(loop, -1, axis=0)
    rim = np.concatenate([loop + share * (ahead - loop) for share in (0.0, 1 / 3, 2 / 3)])
    rings = int(np.ceil(np.linalg.norm(rim - top, axis=1).max() / (0.4 * step)))
    shares = (np.arange(rings + 1) / max(rings, 1))[:, None, None]
    points: NDArray[np.float64] = (top + shares * (rim - top)).reshape(-1, 3)
    return points
