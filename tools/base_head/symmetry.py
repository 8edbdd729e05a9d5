"""Which vertex of the plan is the mirror image of which."""

import numpy as np
from numpy.typing import NDArray

from .layout import COLUMNS, Layout


def mirrored(layout: Layout) -> NDArray[np.int64]:
    """(n,) for each vertex of the plan its mirror image; a vertex on the midline is its own."""
    image = np.full(layout.count, -1)
    columns = -np.arange(COLUMNS) % COLUMNS
    _pair(image, layout.grid, layout.grid[:, columns])
    for name, loops in layout.loops.items():
        twin = _twin(name)
        # the mirror image of a loop runs the other way, its first corner being the twin's second
        first = {"eye": 4, "ear": 3, "mouth": 6, "crown": 0}[name.split("-")[0]]
        for loop, other in zip(loops, layout.loops[twin], strict=True):
            _pair(image, loop, other[(first - np.arange(len(loop))) % len(loop)])
        _pair(image, layout.patches[name], layout.patches[twin][:, ::-1])
    if (image < 0).any() or (image[image] != np.arange(layout.count)).any():
        raise AssertionError("the plan is not its own mirror image")
    return image


def mirrored_finer(image: NDArray[np.int64], quads: NDArray[np.int64], edges: NDArray[np.int64]) -> NDArray[np.int64]:
    """The same one level finer: for the old vertices, then one an edge, then one a face."""
    count = len(image)
    size = count + 1
    keys = edges[:, 0] * size + edges[:, 1]
    ends = np.sort(image[edges], axis=1)
    of_edge = np.searchsorted(keys, ends[:, 0] * size + ends[:, 1])
    corners = {tuple(sorted(face)): row for row, face in enumerate(quads.tolist())}
    of_face = np.array([corners[tuple(sorted(face))] for face in image[quads].tolist()])
    return np.concatenate([image, count + of_edge, count + len(edges) + of_face])


def _twin(name: str) -> str:
    if name.endswith("-left"):
        return name.replace("-left", "-right")
    return name.replace("-right", "-left")


def _pair(image: NDArray[np.int64], these: NDArray[np.int64], those: NDArray[np.int64]) -> None:
    there = these >= 0
    image[these[there]] = those[there]
