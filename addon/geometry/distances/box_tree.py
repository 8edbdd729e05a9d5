"""Boxes in boxes, and which of the innermost come near to which points."""

from collections.abc import Iterator

import numpy as np

from .columns import ROUNDING, Reals, Rows, Singles

BLOCK = 16
"""Points in a block."""
_FAN = 4
"""Boxes in a box of the next level."""
_CROWD = 32
"""Boxes about a block from which its points are better off each on its own."""
_MOST = 1 << 15
"""Pairs looked at together: they stay in the processor's cache."""


class Asked:
    """Points in blocks of sixteen neighbours, and how far from each to look; as rows, first blocks and then points.

    Parameters
    ----------
    points : (3, 16 n) array by columns, millimetres
    reach : (16 n,) array, millimetres
    """

    def __init__(self, points: Reals, reach: Reals) -> None:
        blocks = points.reshape(3, -1, BLOCK)
        self.blocks = blocks.shape[1]
        low, high = (np.concatenate([of(blocks, axis=2), points], axis=1) for of in (np.min, np.max))
        self.box = _turned(-high, -low)
        far = np.concatenate([reach.reshape(-1, BLOCK).max(axis=1), reach])
        rounding = ROUNDING * (float(np.abs(points).max()) + far)
        self.limit = ((far + rounding) ** 2 * (1 + ROUNDING)).astype(np.float32)


class BoxTree:
    """Boxes in boxes.

    Parameters
    ----------
    low, high : (3, n) arrays, corners of the innermost boxes by columns, neighbours in turn, millimetres
    """

    def __init__(self, low: Reals, high: Reals) -> None:
        self._levels = [_turned(low, high)]
        while low.shape[1] > _FAN:
            starts = np.arange(0, low.shape[1], _FAN)
            low, high = np.minimum.reduceat(low, starts, axis=1), np.maximum.reduceat(high, starts, axis=1)
            self._levels.append(_turned(low, high))

    def near(self, asked: Asked) -> Iterator[tuple[Rows, Rows]]:
        """Pairs of a row of `asked` and an innermost box within its reach, some at a time.

        No point goes without a box it reaches: the box is paired with the point's block or with the point itself.
        """
        top = len(self._levels) - 1
        count = len(self._levels[top])
        return self._from(
            top, np.repeat(np.arange(asked.blocks), count), np.tile(np.arange(count), asked.blocks), asked
        )

    def _from(self, level: int, rows: Rows, boxes: Rows, asked: Asked) -> Iterator[tuple[Rows, Rows]]:
        if len(rows) > _MOST:
            for start in range(0, len(rows), _MOST):
                some = slice(start, start + _MOST)
                yield from self._from(level, rows[some], boxes[some], asked)
            return
        gaps = self._levels[level].take(boxes, axis=0)
        gaps += asked.box.take(rows, axis=0)
        np.maximum(gaps, 0, out=gaps)  # of the two gaps along an axis one at most is more
        near = np.flatnonzero(np.einsum("ij,ij->i", gaps, gaps) <= asked.limit.take(rows))
        rows, boxes = rows.take(near), boxes.take(near)
        if not level:
            yield rows, boxes
            return
        rows, boxes = _thinned(rows, boxes, asked.blocks)
        boxes = (boxes[:, None] * _FAN + np.arange(_FAN)).ravel()
        there = np.flatnonzero(boxes < len(self._levels[level - 1]))
        yield from self._from(level - 1, np.repeat(rows, _FAN).take(there), boxes.take(there), asked)


def _thinned(rows: Rows, boxes: Rows, blocks: int) -> tuple[Rows, Rows]:
    """The pairs, with the blocks that have a crowd of boxes about them taken apart into their points."""
    crowd = np.zeros(blocks * (1 + BLOCK), bool)
    crowd[:blocks] = np.bincount(rows, minlength=blocks)[:blocks] > _CROWD
    if not crowd.any():
        return rows, boxes
    crowded = crowd.take(rows)
    points = blocks + rows[crowded][:, None] * BLOCK + np.arange(BLOCK)
    return (
        np.concatenate([rows[~crowded], points.ravel()]),
        np.concatenate([boxes[~crowded], np.repeat(boxes[crowded], BLOCK)]),
    )


def _turned(low: Reals, high: Reals) -> Singles:
    """(n, 6) so that the sum with another box's, given -high for low, is the gaps between the two either way."""
    turned: Singles = np.concatenate([low, -high]).T.astype(np.float32, order="C")
    return turned
