"""Cells of a grid, against numpy's own counting and against a plain dictionary."""

from itertools import product

import numpy as np
from canthus.geometry.bricks import CELL_CORNERS, Bricks, block


def test_a_block_is_counted_as_numpy_counts():
    assert [tuple(cell) for cell in block(2, 3, 4).tolist()] == list(np.ndindex(2, 3, 4))
    assert block(5, 0).shape == (0, 2)


def test_a_cell_has_every_corner_once_and_x_changes_first():
    assert [tuple(corner[::-1]) for corner in CELL_CORNERS.tolist()] == list(product((0, 1), repeat=3))


def test_rows_are_a_dictionarys():
    cells = np.unique(np.random.default_rng(9).integers(-20, 40, (3000, 3)), axis=0)
    rows = {tuple(cell): row for row, cell in enumerate(cells.tolist())}
    bricks, asked = Bricks(cells), block(70, 70, 70)[::17] - 25
    np.testing.assert_array_equal(bricks.of(asked), [rows.get(tuple(cell), -1) for cell in asked.tolist()])
    for offset in ([0, 0, 0], [-7, 0, 3], [1, 1, 1]):
        wanted = [rows.get(tuple(cell), -1) for cell in (cells + offset).tolist()]
        np.testing.assert_array_equal(bricks.beside(slice(None), np.array(offset)), wanted)
