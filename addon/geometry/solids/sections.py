"""Plane sections of closed meshes: the outlines where a plane meets the surface, and what they measure."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..mesh import Mesh
from ..transforms import rotation


@dataclass(frozen=True, eq=False)
class Plane:
    """A point and two unit directions across it; `up` is the side that counts as above.

    `across`, `along` and `up` are right-handed, so an outline that runs counter-clockwise in (across, along) does so
    seen from above.
    """

    origin: NDArray[np.float64]
    across: NDArray[np.float64]
    along: NDArray[np.float64]

    @property
    def up(self) -> NDArray[np.float64]:
        """(3,) unit normal."""
        return np.cross(self.across, self.along)

    @property
    def matrix(self) -> NDArray[np.float64]:
        """(4, 4) rigid transform from (across, along, up) coordinates to the mesh's."""
        matrix = np.eye(4)
        matrix[:3] = np.column_stack([self.across, self.along, self.up, self.origin])
        return matrix

    def heights(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n,) signed distances of (n, 3) points above the plane."""
        distances: NDArray[np.float64] = (points - self.origin) @ self.up
        return distances

    def flat(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n, 2) coordinates of points across and along the plane."""
        return (points - self.origin) @ np.column_stack([self.across, self.along])

    def placed(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n, 3) points of the plane at (n, 2) coordinates."""
        return self.origin + points @ np.stack([self.across, self.along])

    def raised(self, height: float) -> "Plane":
        """The parallel plane that much higher."""
        return Plane(self.origin + height * self.up, self.across, self.along)

    def tilted(self, angle: float) -> "Plane":
        """The plane turned about the x axis through its origin, radians; positive raises its front (-y)."""
        # A turn by a positive angle about +x lowers the front, so the tilt goes the other way.
        return plane(self.origin, rotation((1.0, 0.0, 0.0), -angle) @ self.up, self.across)


def plane(origin: ArrayLike, up: ArrayLike, across: ArrayLike = (1.0, 0.0, 0.0)) -> Plane:
    """The plane through `origin` with normal `up`; its first direction is as near to `across` as can be.

    Parameters
    ----------
    origin, up, across : (3,) arrays; the last two need no unit length and must not be parallel
    """
    normal = np.asarray(up, dtype=np.float64) / np.linalg.norm(up)
    sideways = np.asarray(across, dtype=np.float64)
    if np.linalg.norm(np.cross(normal, sideways)) < 1e-6 * np.linalg.norm(sideways):
        sideways = np.roll(sideways, 1)
    sideways = sideways - normal * (sideways @ normal)
    sideways = sideways / np.linalg.norm(sideways)
    return Plane(np.asarray(origin, dtype=np.float64), sideways, np.cross(normal, sideways))


@dataclass(frozen=True, eq=False)
class Outline:
    """One closed line of a section: (k, 2) points in the plane's coordinates, counter-clockwise round material."""

    points: NDArray[np.float64]

    @cached_property
    def area(self) -> float:
        """Signed area: positive where the line goes round material, negative round a hole in it."""
        x, y = self.points.T
        return float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum() / 2)

    @cached_property
    def span(self) -> float:
        """Area of the line's hull, by its farthest points in 96 directions: for a slit shell, that of the whole."""
        angles = np.linspace(0, 2 * np.pi, 96, endpoint=False)
        farthest = np.argmax(self.points @ np.stack([np.cos(angles), np.sin(angles)]), axis=0)
        return Outline(self.points[farthest]).area

    @cached_property
    def centroid(self) -> NDArray[np.float64]:
        """(2,) centre of area."""
        x, y = (self.points - self.points[0]).T
        turns = x * np.roll(y, -1) - y * np.roll(x, -1)
        total = turns.sum() * 3
        if total == 0:
            return np.asarray(self.points.mean(axis=0))
        middle = np.array([((x + np.roll(x, -1)) * turns).sum(), ((y + np.roll(y, -1)) * turns).sum()]) / total
        return np.asarray(self.points[0] + middle)

    def depths(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n,) distances of (n, 2) points to the line, negative outside it."""
        start, end = self.points, np.roll(self.points, -1, axis=0)
        ahead = end - start
        lengths = np.maximum(np.einsum("ij,ij->i", ahead, ahead), 1e-300)
        away = points[:, None] - start
        shares = np.clip(np.einsum("nij,ij->ni", away, ahead) / lengths, 0, 1)
        distances: NDArray[np.float64] = np.linalg.norm(away - shares[..., None] * ahead, axis=2).min(axis=1)
        x, y = points[:, :1], points[:, 1:]
        spans = (start[:, 1] > y) != (end[:, 1] > y)
        rise = np.where(ahead[:, 1] == 0, 1.0, ahead[:, 1])
        crossings = (spans & (x < start[:, 0] + (y - start[:, 1]) / rise * ahead[:, 0])).sum(axis=1)
        return np.asarray(np.where(crossings % 2 == 1, distances, -distances), np.float64)


def depths_in(outlines: Sequence[Outline], points: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n,) distances of (n, 2) points of a section to its nearest outline; negative outside material or in a hole."""
    if not outlines:
        return np.full(len(points), -np.inf)
    each = np.stack([outline.depths(points) for outline in outlines])
    nearest = np.abs(each).min(axis=0)
    return np.where((each > 0).sum(axis=0) % 2 == 1, nearest, -nearest)


def deepest(outlines: Sequence[Outline]) -> NDArray[np.float64]:
    """(2,) the point of a section deepest in material within its largest outline: centre of the largest circle that
    fits, to a two-hundredth of the width.
    """
    low, high = outlines[0].points.min(axis=0), outlines[0].points.max(axis=0)
    best: NDArray[np.float64] = (low + high) / 2
    step = float((high - low).max()) / 20
    reach = 10
    for _ in range(4):
        around = np.stack(np.meshgrid(*[np.arange(-reach, reach + 1) * step] * 2), axis=-1).reshape(-1, 2) + best
        best, step, reach = around[int(np.argmax(depths_in(outlines, around)))], step / 3, 4
    return best


def section(mesh: Mesh, cut: Plane) -> tuple[Outline, ...]:
    """The outlines where a plane meets a closed mesh, the largest first.

    Vertices on the plane itself count as above it, so that every outline closes.
    """
    above = cut.heights(mesh.vertices) >= 0
    counts = above[mesh.triangles].sum(axis=1)
    crossed = mesh.triangles[(counts == 1) | (counts == 2)]
    if not len(crossed):
        return ()
    return _outlines(mesh, cut, crossed, above)


def sections(mesh: Mesh, cut: Plane, heights: NDArray[np.float64]) -> Iterator[tuple[Outline, ...]]:
    """The outlines at each height over a plane: as `section` at each, without asking the whole mesh every time."""
    levels = cut.heights(mesh.vertices)
    spans = levels[mesh.triangles]
    low, high = spans.min(axis=1), spans.max(axis=1)
    for height in heights:
        crossed = mesh.triangles[(low < height) & (high >= height)]
        yield _outlines(mesh, cut.raised(float(height)), crossed, levels >= height) if len(crossed) else ()


def _outlines(mesh: Mesh, cut: Plane, crossed: NDArray[np.int32], above: NDArray[np.bool_]) -> tuple[Outline, ...]:
    """Chain the segments in which triangles are crossed."""
    ahead = np.roll(crossed, -1, axis=1)
    rising = ~above[crossed] & above[ahead]
    falling = above[crossed] & ~above[ahead]
    # Going round the material on the left, seen from above, each crossed triangle is entered through its one rising
    # edge and left through its one falling edge.
    start = np.stack([ahead[rising], crossed[rising]], axis=1).astype(np.int64)
    end = np.stack([crossed[falling], ahead[falling]], axis=1).astype(np.int64)
    keys = np.concatenate([start, end]) @ np.array([len(mesh.vertices), 1])
    edges, number = np.unique(keys, return_inverse=True)
    number = number.ravel()
    following = np.full(len(edges), -1)
    following[number[len(start) :]] = number[: len(start)]
    high, low = edges // len(mesh.vertices), edges % len(mesh.vertices)
    top, bottom = cut.heights(mesh.vertices[high]), cut.heights(mesh.vertices[low])
    share = (top / np.where(top == bottom, 1.0, top - bottom))[:, None]
    places = cut.flat(mesh.vertices[high] * (1 - share) + mesh.vertices[low] * share)
    found = [Outline(places[chain]) for chain in _chains(following.tolist())]
    return tuple(sorted(found, key=lambda outline: -abs(outline.area)))


def _chains(following: list[int]) -> Iterator[list[int]]:
    """The closed chains of a table that names what follows each entry; chains that end are left out."""
    seen = [False] * len(following)
    for first in range(len(following)):
        chain, here = [], first
        while here >= 0 and not seen[here]:
            seen[here] = True
            chain.append(here)
            here = following[here]
        if here == first and len(chain) > 2:
            yield chain
