"""A solid as the printer sees it: layer upon layer of pixels, and what goes wrong between them."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import label

from .mesh import Mesh

MOST_VOXELS = 24_000_000


@dataclass(frozen=True, eq=False)
class Layers:
    """Pixels that are solid, layer by layer from the plate up.

    Parameters
    ----------
    solid : (layers, nx, ny) bool array, with an empty pixel all round
    low : (3,) place of the middle of pixel (0, 0) of layer 0 in the turned frame, millimetres
    pixel, layer : millimetres
    turn : (3, 3) rotation from the part's own frame into one whose third axis is up
    """

    solid: NDArray[np.bool_]
    low: NDArray[np.float64]
    pixel: float
    layer: float
    turn: NDArray[np.float64]

    def place(self, level: int, row: float, column: float) -> NDArray[np.float64]:
        """(3,) the place of a pixel in the part's own frame."""
        turned = self.low + np.array([row * self.pixel, column * self.pixel, level * self.layer])
        own: NDArray[np.float64] = self.turn.T @ turned
        return own


@dataclass(frozen=True)
class Spot:
    """Something found in a layer: its middle in the part's own frame, and its area in square millimetres."""

    place: tuple[float, float, float]
    area: float


def layers_of(mesh: Mesh, up: NDArray[np.float64], pixel: float, layer: float) -> Layers:
    """The layers of a closed mesh printed with `up` upwards; coarser than asked where they would be too many."""
    turn = _upright(up)
    corners = mesh.corners @ turn.T
    low, high = corners.min(axis=(0, 1)), corners.max(axis=(0, 1))
    extent = high - low
    coarser = max(1.0, float(np.cbrt(np.prod(extent / [pixel, pixel, layer]) / MOST_VOXELS)))
    pixel, layer = pixel * coarser, layer * coarser
    # An odd fraction of a pixel keeps edges that run along the axes off the pixels' middles.
    low = low - np.array([1.317, 1.271, -0.5]) * [pixel, pixel, layer]
    shape = np.ceil((high - low) / [pixel, pixel, layer]).astype(np.int64) + np.array([2, 2, 0])
    column, height = _crossings((corners - low) / [pixel, pixel, layer], shape)
    level = np.clip(np.ceil(height), 0, shape[2]).astype(np.int64)
    keys, counts = np.unique(column * (shape[2] + 1) + level, return_counts=True)
    turns = np.zeros(int(shape[0] * shape[1] * (shape[2] + 1)), bool)
    turns[keys[counts % 2 == 1]] = True
    filled = np.logical_xor.accumulate(turns.reshape(shape[0], shape[1], shape[2] + 1), axis=2)[:, :, : shape[2]]
    return Layers(np.ascontiguousarray(filled.transpose(2, 0, 1)), low, pixel, layer, turn)


def _upright(up: NDArray[np.float64]) -> NDArray[np.float64]:
    """A rotation whose third row is `up`; the part's own axes where up is already z."""
    third = up / np.linalg.norm(up)
    if third[2] > 1 - 1e-12:
        return np.eye(3)
    first = np.cross(np.eye(3)[int(np.argmin(np.abs(third)))], third)
    first /= np.linalg.norm(first)
    return np.stack([first, np.cross(third, first), third])


def _crossings(corners: NDArray[np.float64], shape: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Where upright lines through the pixels' middles cross the triangles: (column, height) in steps of the grid."""
    a, b, c = (np.ascontiguousarray(corners[:, k]) for k in range(3))
    low = np.ceil(np.minimum(np.minimum(a, b), c)[:, :2]).astype(np.int64).clip(0)
    high = np.minimum(np.floor(np.maximum(np.maximum(a, b), c)[:, :2]).astype(np.int64), shape[:2] - 1)
    span = np.maximum(high - low + 1, 0)
    counts = span.prod(axis=1)
    met = np.flatnonzero(counts)
    columns, heights = [np.zeros(0, np.int64)], [np.zeros(0)]
    for some in np.array_split(met, max(1, int(counts.sum()) // 200_000)):  # so many that they fit into the cache
        row = np.repeat(some, counts[some])
        number = np.arange(len(row)) - np.repeat(np.cumsum(counts[some]) - counts[some], counts[some])
        x, y = np.divmod(number, span[:, 1].take(row))
        x, y = x + low[:, 0].take(row), y + low[:, 1].take(row)
        one, two, three = (each.take(row, axis=0) for each in (a, b, c))
        shares = [_turning(p, q, x, y) for p, q in ((two, three), (three, one), (one, two))]
        total = shares[0] + shares[1] + shares[2]
        within = (np.minimum(np.minimum(*shares[:2]), shares[2]) >= 0) | (
            np.maximum(np.maximum(*shares[:2]), shares[2]) <= 0
        )
        within &= total != 0
        height = (shares[0] * one[:, 2] + shares[1] * two[:, 2] + shares[2] * three[:, 2])[within] / total[within]
        columns.append((x * shape[1] + y)[within])
        heights.append(height)
    return np.concatenate(columns), np.concatenate(heights)


def _turning(
    p: NDArray[np.float64], q: NDArray[np.float64], x: NDArray[np.int64], y: NDArray[np.int64]
) -> NDArray[np.float64]:
    """Twice the signed area of the triangle p, q, (x, y) in the plane."""
    turning: NDArray[np.float64] = (q[:, 0] - p[:, 0]) * (y - p[:, 1]) - (q[:, 1] - p[:, 1]) * (x - p[:, 0])
    return turning


def islands(layers: Layers) -> list[Spot]:
    """What starts in mid-air: pieces of a layer with nothing under them, the largest first."""
    found = []
    for level in range(1, len(layers.solid)):
        pieces, count = label(layers.solid[level])
        held = np.zeros(count + 1, bool)
        held[pieces[layers.solid[level - 1]]] = True
        found += [_spot(layers, level, pieces == piece) for piece in np.flatnonzero(~held[1:]) + 1]
    return sorted(found, key=lambda spot: -spot.area)


def suction_cups(layers: Layers) -> list[Spot]:
    """Hollows that are sealed from the open as their layer is laid, each at its widest, the widest first.

    Notes
    -----
    A printer lays layers upwards from the plate; a hollow that so far has no way out through the layers laid is a
    cup against the film. It is followed through the layers as a piece of air that joins others as walls end.
    """
    parent = [0]  # 0 is the open air
    widest: dict[int, Spot] = {}
    before = np.zeros(layers.solid.shape[1:], np.int64)
    for level in range(len(layers.solid)):
        air, count = label(~layers.solid[level])
        numbers = np.arange(count + 1) + len(parent) - 1
        parent.extend(range(len(parent), len(parent) + count))
        now = np.where(air > 0, numbers[air], -1)
        for outside in np.unique(air[[0, -1], :]).tolist() + np.unique(air[:, [0, -1]]).tolist():
            if outside:
                _join(parent, int(numbers[outside]), 0)
        both = (now >= 0) & (before >= 0)
        for pair in np.unique(now[both] * (len(parent) + 1) + before[both]).tolist():
            _join(parent, pair // (len(parent) + 1), pair % (len(parent) + 1))
        for piece in range(1, count + 1):
            root = _root(parent, int(numbers[piece]))
            if root:
                spot = _spot(layers, level, air == piece)
                if root not in widest or spot.area > widest[root].area:
                    widest[root] = spot
        before = now
    best: dict[int, Spot] = {}
    for root, spot in widest.items():
        last = _root(parent, root) or -root  # one that opened in the end keeps its own entry
        if last not in best or spot.area > best[last].area:
            best[last] = spot
    return sorted(best.values(), key=lambda spot: -spot.area)


def _root(parent: list[int], number: int) -> int:
    while parent[number] != number:
        parent[number] = parent[parent[number]]
        number = parent[number]
    return number


def _join(parent: list[int], one: int, other: int) -> None:
    """Make two pieces of air one; the open air, the lowest number, stays the root."""
    first, second = sorted((_root(parent, one), _root(parent, other)))
    parent[second] = first


def _spot(layers: Layers, level: int, chosen: NDArray[np.bool_]) -> Spot:
    row, column = (float(each.mean()) for each in np.nonzero(chosen))
    x, y, z = np.round(layers.place(level, row, column), 3).tolist()
    return Spot((x, y, z), float(chosen.sum()) * layers.pixel**2)
