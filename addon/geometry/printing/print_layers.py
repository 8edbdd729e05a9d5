"""A solid as the printer sees it: layer upon layer of pixels, and what goes wrong between them."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import generate_binary_structure, label

from ..groups import counted_out
from ..mesh import Mesh

MOST_VOXELS = 24_000_000
_IN_A_LAYER = np.zeros((3, 3, 3), bool)
_IN_A_LAYER[1] = generate_binary_structure(2, 1)  # pixels hang together along edges, and within their layer


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
    turn = upright(up)
    turned = mesh.vertices @ turn.T
    low, high = turned.min(axis=0), turned.max(axis=0)
    corners = turned.take(mesh.triangles, axis=0)
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


def upright(up: NDArray[np.float64]) -> NDArray[np.float64]:
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
        group, number = counted_out(counts[some])
        row = some[group]
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
    pieces, count = label(layers.solid, _IN_A_LAYER)
    held = np.zeros(count + 1, bool)
    held[0], held[pieces[0]] = True, True  # air, and what stands on the plate
    held[pieces[1:][layers.solid[:-1]]] = True
    return _spots(layers, pieces, np.flatnonzero(~held))


def suction_cups(layers: Layers) -> list[Spot]:
    """Hollows that are sealed from the open as their layer is laid, each at its widest, the widest first.

    Notes
    -----
    A printer lays layers upwards from the plate; a hollow that so far has no way out through the layers laid is a
    cup against the film. It is followed through the layers as a piece of air that joins others as walls end.
    """
    air, count = label(~layers.solid, _IN_A_LAYER)
    areas = np.bincount(air.ravel(), minlength=count + 1).tolist()
    touching = _touching(air)
    parent = list(range(count + 1))  # 0 is the open air
    widest: dict[int, int] = {}  # the first piece of a hollow to its widest
    first = 1
    for piece in range(1, int(air[0].max()) + 1):
        _join(parent, piece, 0)  # a mouth to the plate is open: the part is held off it
    for level, last in enumerate(air.max(axis=(1, 2)).tolist()):  # pieces are numbered layer by layer
        _join(parent, int(air[level, 0, 0]), 0)  # the empty pixels all round
        for above, below in touching.get(level, ()):
            _join(parent, above, below)
        for piece in range(first, last + 1):
            root = _root(parent, piece)
            if root and (root not in widest or areas[piece] > areas[widest[root]]):
                widest[root] = piece
        first = last + 1
    best: dict[int, int] = {}
    for root, piece in widest.items():
        last = _root(parent, root) or -root  # one that opened in the end keeps its own entry
        if last not in best or areas[piece] > areas[best[last]]:
            best[last] = piece
    return _spots(layers, air, np.array(sorted(best.values()), np.int64))


def _touching(air: NDArray[np.int32]) -> dict[int, list[tuple[int, int]]]:
    """For each layer the pieces of air that lie on pieces of the layer under it, as pairs (above, below)."""
    pairs = air[1:].astype(np.int64) << 32 | air[:-1]
    fresh = (air[1:] > 0) & (air[:-1] > 0)
    fresh[:, :, 1:] &= pairs[:, :, 1:] != pairs[:, :, :-1]  # a run along a row tells it once
    levels = np.nonzero(fresh)[0] + 1
    told, row = np.unique(pairs[fresh], return_index=True)
    found: dict[int, list[tuple[int, int]]] = {}
    for level, above, below in zip(
        levels[row].tolist(), *(each.tolist() for each in (told >> 32, told & 0xFFFFFFFF)), strict=True
    ):
        found.setdefault(level, []).append((above, below))
    return found


def _root(parent: list[int], number: int) -> int:
    while parent[number] != number:
        parent[number] = parent[parent[number]]
        number = parent[number]
    return number


def _join(parent: list[int], one: int, other: int) -> None:
    """Make two pieces of air one; the open air, the lowest number, stays the root."""
    first, second = sorted((_root(parent, one), _root(parent, other)))
    parent[second] = first


def _spots(layers: Layers, pieces: NDArray[np.int32], chosen: NDArray[np.int64]) -> list[Spot]:
    """Pieces of layers, the largest first."""
    if not len(chosen):
        return []
    wanted = np.zeros(int(pieces.max()) + 1, bool)
    wanted[chosen] = True
    where = np.nonzero(wanted[pieces])
    piece = pieces[where]
    counts = np.bincount(piece, minlength=len(wanted))[chosen]
    middles = [np.bincount(piece, along, len(wanted))[chosen] / counts for along in where]
    found = []
    for count, level, row, column in zip(counts.tolist(), *(each.tolist() for each in middles), strict=True):
        x, y, z = np.round(layers.place(round(level), row, column), 3).tolist()
        found.append(Spot((x, y, z), count * layers.pixel**2))
    return sorted(found, key=lambda spot: -spot.area)
