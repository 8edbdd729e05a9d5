"""The quads of the base head, as a plan: a tube of rows and columns, with closed loops let in round the features.

A block of faces is taken out of the tube and the hole is filled from its edge inwards: rings of faces that run round
the feature, then a patch of rows and columns. So every face has four corners, and every loop round an eye, the mouth
or an ear closes on itself. The top of the tube is filled in the same way.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

COLUMNS, ROWS = 28, 21
"""Columns of faces round the head, column 0 beginning on the midline in front, and rows from the neck to the crown."""
EYE, MOUTH, EAR = (13, 17, 2, 6), (6, 10, -3, 3), (10, 16, 8, 11)
"""Blocks as first row, last row, first column, last column; of the pairs the left one."""


@dataclass
class Layout:
    """The plan: `quads` (m, 4), counter-clockwise from outside, `grid` (ROWS + 1, COLUMNS) the tube's vertices, -1
    where a feature has taken them out, `loops` by feature from the block's edge inwards, `patches` by feature as
    (rows, columns) of vertices, `labels` one region a face.
    """

    quads: NDArray[np.int64]
    grid: NDArray[np.int64]
    loops: dict[str, list[NDArray[np.int64]]]
    patches: dict[str, NDArray[np.int64]]
    labels: list[str]
    count: int


@dataclass
class _Drawing:
    quads: list[tuple[int, int, int, int]] = field(default_factory=list)
    labels: list[str] = field(default_factory=list)
    count: int = 0

    def vertices(self, number: int) -> NDArray[np.int64]:
        self.count += number
        return np.arange(self.count - number, self.count)

    def face(self, label: str, *corners: int) -> None:
        self.quads.append(tuple(int(corner) for corner in corners))  # type: ignore[arg-type]
        self.labels.append(label)

    def ring(self, label: str, outer: NDArray[np.int64]) -> NDArray[np.int64]:
        """A ring of faces inside a loop that runs counter-clockwise; the loop at its inner edge."""
        inner = self.vertices(len(outer))
        for k, after in enumerate(np.roll(np.arange(len(outer)), -1)):
            self.face(label, outer[k], outer[after], inner[after], inner[k])
        return inner

    def patch(self, label: str, loop: NDArray[np.int64], width: int, height: int, start: int) -> NDArray[np.int64]:
        """Rows and columns that fill a loop of 2 (width + height) vertices, its lower left corner at `start`."""
        loop = np.roll(loop, -start)
        rows = np.full((height + 1, width + 1), -1)
        rows[0] = loop[: width + 1]
        rows[:, width] = loop[width : width + height + 1]
        rows[height] = loop[width + height : 2 * width + height + 1][::-1]
        rows[1:height, 0] = loop[2 * width + height + 1 :][::-1]
        inside = self.vertices((width - 1) * (height - 1))
        rows[1:height, 1:width] = inside.reshape(height - 1, width - 1)
        for i in range(height):
            for j in range(width):
                self.face(label, rows[i, j], rows[i, j + 1], rows[i + 1, j + 1], rows[i + 1, j])
        return rows


def drawn() -> Layout:
    """The plan of the base head."""
    drawing = _Drawing()
    blocks = {"mouth": MOUTH}
    for name, (low, high, first, last) in (("eye", EYE), ("ear", EAR)):
        blocks[f"{name}-left"] = (low, high, first, last)
        blocks[f"{name}-right"] = (low, high, -last, -first)
    taken = np.zeros((ROWS, COLUMNS), bool)
    inside = np.zeros((ROWS + 1, COLUMNS), bool)
    for low, high, first, last in blocks.values():
        taken[low:high, np.arange(first, last) % COLUMNS] = True
        inside[low + 1 : high, np.arange(first + 1, last) % COLUMNS] = True
    grid = np.full((ROWS + 1, COLUMNS), -1)
    grid[~inside] = drawing.vertices(int((~inside).sum()))
    for i in range(ROWS):
        for j in range(COLUMNS):
            if not taken[i, j]:
                after = (j + 1) % COLUMNS
                drawing.face(_tube_label(i, j), grid[i, j], grid[i, after], grid[i + 1, after], grid[i + 1, j])
    loops = {name: [_edge_of(grid, block)] for name, block in blocks.items()}
    patches = {}
    for side in ("left", "right"):
        eye = loops[f"eye-{side}"]
        for label in ("orbit", "lids", "lids"):
            eye.append(drawing.ring(label, eye[-1]))
        patches[f"eye-{side}"] = drawing.patch("eyes", eye[-1], 6, 2, -1)
        ear = loops[f"ear-{side}"]
        for label in ("face", "ears", "ears", "ears", "ears", "ears"):
            ear.append(drawing.ring(label, ear[-1]))
        patches[f"ear-{side}"] = drawing.patch("ears", ear[-1], 3, 6, 0)
    mouth = loops["mouth"]
    for label in ("face", "lips"):
        mouth.append(drawing.ring(label, mouth[-1]))
    patches["mouth"] = drawing.patch("lips", mouth[-1], 8, 2, -1)
    loops["crown"] = [grid[ROWS]]
    patches["crown"] = drawing.patch("scalp", grid[ROWS], 6, 8, -3)
    return Layout(np.array(drawing.quads), grid, loops, patches, drawing.labels, drawing.count)


def _edge_of(grid: NDArray[np.int64], block: tuple[int, int, int, int]) -> NDArray[np.int64]:
    """The edge of a block, counter-clockwise from its lower left corner."""
    low, high, first, last = block
    across, up = np.arange(first, last), np.arange(low, high)
    return np.concatenate([
        grid[low, across % COLUMNS], grid[up, last % COLUMNS],
        grid[high, (across + 1)[::-1] % COLUMNS], grid[(up + 1)[::-1], first % COLUMNS],
    ])  # fmt: skip


def _tube_label(row: int, column: int) -> str:
    """The region of a face of the tube; `column` counts from the midline in front, round by the left."""
    side = column if column < COLUMNS // 2 else COLUMNS - 1 - column  # 0 beside the midline in front
    if row < (3 if side < 7 else 5):
        return "neck"
    if 10 <= row < 15 and side < 2:
        return "nose"
    hairline = (19, 19, 19, 19, 19, 18, 18, 17, 16, 16, 16, 10, 8, 8)[side]
    return "scalp" if row >= hairline else "face"
