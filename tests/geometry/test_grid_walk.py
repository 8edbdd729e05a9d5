"""Rays through a grid of cells, against the boxes of all cells tried in turn."""

import numpy as np
import pytest
from canthus.geometry.distances.cells import BLOCK, cells_of
from canthus.geometry.distances.grid_walk import GridWalk
from canthus.geometry.solids.primitives import icosphere


def grid(spread):
    """Cells of a few hundred small triangles, in cells from half a cell up, and which ones hold any."""
    places = 0.5 + np.random.default_rng(2).uniform(0, spread, (300, 3))
    ball = icosphere(0, 0.3)
    corners = [(places[:, None] + ball.vertices[ball.triangles[:, k]]).reshape(-1, 3) for k in range(3)]
    low = min(each.min() for each in corners) - 0.5
    cells = cells_of([list((each - low).T.astype(np.float32)) for each in corners], np.zeros(3), 1.0)
    blocks = np.argwhere(cells.number.reshape(cells.blocks) >= 0)
    within = np.stack(np.unravel_index(np.arange(BLOCK**3), (BLOCK,) * 3), axis=1)
    every = (blocks[:, None] * BLOCK + within).reshape(-1, 3)
    return cells, every, cells.first[1:] > cells.first[:-1]


def walked(cells, start, way, farthest=3e38):
    """Pairs of a ray and the number of a cell with triangles that it comes through, and how often all moved on."""
    columns = [[np.ascontiguousarray(each, np.float32) for each in points.T] for points in (start, way)]
    walk = GridWalk(cells, *columns, np.full(len(start), farthest, np.float32))
    pairs, moves = set(), 0
    while len(walk):
        here, number = walk.with_triangles()
        pairs |= set(zip(walk.row[here].tolist(), number.tolist(), strict=True))
        walk.on()
        moves += 1
    return pairs, moves


def through(every, filled, start, way, margin):
    """The same pairs by the boxes of all cells, taken larger by a margin."""
    pairs = set()
    for ray, (at, along) in enumerate(zip(start, way, strict=True)):
        with np.errstate(divide="ignore", invalid="ignore"):
            ends = np.stack([(every - margin - at) / along, (every + 1 + margin - at) / along])
        inside = (every - margin <= at) & (at <= every + 1 + margin)
        level = along == 0  # such a ray is between the two faces all along, or never
        low, high = (np.where(level, np.where(inside, far, -far), each) for far, each in (
            (-np.inf, ends.min(axis=0)), (np.inf, ends.max(axis=0))))  # fmt: skip
        met = (np.maximum(low.max(axis=1), 0) <= high.min(axis=1)) & filled
        pairs |= {(ray, number) for number in np.flatnonzero(met).tolist()}
    return pairs


@pytest.mark.parametrize("spread", [12.0, 60.0])
def test_every_cell_on_the_way_is_come_through(spread):
    cells, every, filled = grid(spread)
    chance = np.random.default_rng(7)
    start = chance.uniform(-0.5, 1.5, (80, 3)) * spread
    way = spread * chance.uniform(0.2, 0.8, (80, 3)) - start
    way[::4, 1] *= 1e-6  # nearly along faces of cells
    start[::4, 1] = np.round(start[::4, 1])
    way[::8, 0] = 0.0
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    found, moves = walked(cells, start, way)
    inner = filled & (every > 0).all(axis=1)  # of the outermost cells only the inner half is in use
    assert through(every, inner, start, way, -1e-3) <= found <= through(every, filled, start, way, 1e-3)
    assert moves <= 3 * (BLOCK * cells.blocks.max())  # no ray stands still


def test_rays_end_where_they_are_told():
    cells, every, filled = grid(12.0)
    start, way = np.array([[0.5, 6.3, 6.2]]), np.array([[1.0, 0.0, 0.0]])
    near = {pair for pair in through(every, filled, start, way, 0.0) if every[pair[1], 0] < 6}
    assert walked(cells, start, way, 5.5)[0] == near
