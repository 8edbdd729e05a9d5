"""Tree order, duplicates and nearest points against brute force."""

import time

import numpy as np
import pytest
from canthus.geometry.errors import BadCloud
from canthus.geometry.neighbours import arranged, box_round, morton_codes, stable_order, tree_order
from hypothesis import given
from hypothesis import strategies as st


def test_morton_codes_interleave_the_bits():
    """Morton 1966: x takes bits 0, 3, 6..., y bits 1, 4, 7..., z bits 2, 5, 8... worked by hand."""
    cells = np.array([[1, 0, 0], [0, 1, 0], [0, 0, 1], [3, 0, 0], [2, 3, 1], [2**21 - 1] * 3])
    assert morton_codes(cells).tolist() == [1, 2, 4, 9, 0b011110, 2**63 - 1]


def test_tree_order_is_a_permutation_and_keeps_neighbours_together():
    points = np.random.default_rng(3).random((5000, 3))
    order = tree_order(points)
    assert sorted(order.tolist()) == list(range(5000))
    step = np.linalg.norm(np.diff(points[order], axis=0), axis=1).mean()
    assert step < 0.2 * np.linalg.norm(np.diff(points, axis=0), axis=1).mean()


@given(st.integers(0, 2**32 - 1), st.integers(0, 300), st.integers(1, 64))
def test_order_is_that_of_a_stable_sort(seed, count, bits):
    """numpy's own stable argsort is the reference; with few or all of a word's bits in use, and equal numbers."""
    rng = np.random.default_rng(seed)
    codes = (
        rng.integers(0, 2**bits, count, dtype=np.uint64, endpoint=False)
        if bits < 64
        else rng.integers(0, 2**64 - 1, count, dtype=np.uint64, endpoint=True)
    )
    codes[::3] = codes[:1].repeat(len(codes[::3]))
    codes[1::3] ^= np.uint64(1)
    np.testing.assert_array_equal(stable_order(codes), np.argsort(codes, kind="stable"))


def test_box_is_that_of_the_rows():
    points = np.random.default_rng(2).standard_normal((100, 3))
    np.testing.assert_array_equal(box_round(points), [points.min(axis=0), points.max(axis=0)])


@given(st.integers(0, 2**32 - 1), st.integers(1, 200), st.integers(1, 6))
def test_duplicates_are_held_once_and_found_again(seed, count, levels):
    points = np.random.default_rng(seed).integers(0, levels, (count, 3)).astype(float)
    held = arranged(points)
    assert len(np.unique(held.points, axis=0)) == len(held.points)
    np.testing.assert_array_equal(held.points[held.back], points)
    np.testing.assert_array_equal(points[held.rows], held.points)
    first = {tuple(point): row for row, point in reversed(list(enumerate(points.tolist())))}
    assert [first[tuple(point)] for point in held.points.tolist()] == held.rows.tolist()


def test_nearest_agree_with_brute_force():
    points = np.random.default_rng(5).random((300, 3))
    held = arranged(points)
    distances, rows = held.nearest(5)
    every = np.linalg.norm(held.points[:, None] - held.points[None], axis=2)
    np.fill_diagonal(every, np.inf)
    np.testing.assert_allclose(distances, np.sort(every, axis=1)[:, :5], atol=1e-12)
    np.testing.assert_array_equal(rows, np.argsort(every, axis=1)[:, :5])


def test_beyond_the_bound_nothing_is_found():
    held = arranged(np.array([[0.0, 0, 0], [1, 0, 0], [5, 0, 0]]))
    distances, rows = held.nearest(2, bound=2.0)
    assert np.isinf(distances).sum() == 4
    assert (rows == 3).sum() == 4


def test_a_fifth_of_the_points_in_one_place_costs_no_more():
    """The trap of dependencies.md: such a cloud took a k-d tree twenty times as long."""
    points = np.random.default_rng(1).random((100_000, 3))
    start = time.perf_counter()
    arranged(points).nearest(8)
    clean = time.perf_counter() - start
    points[::5] = points[0]
    start = time.perf_counter()
    held = arranged(points)
    held.nearest(8)
    assert len(held.points) == 80_001
    assert time.perf_counter() - start < 4 * clean + 0.5


def test_an_empty_cloud_is_refused():
    with pytest.raises(BadCloud, match="empty"):
        arranged(np.empty((0, 3)))


def test_spacing_is_the_root_of_the_area_a_point_has_to_itself():
    """Points at random on a square: 40,000 to 100 x 100, so half a unit each way."""
    points = np.random.default_rng(0).random((40_000, 3)) * [100, 100, 0]
    assert arranged(points).spacing() == pytest.approx(0.5, rel=0.05)
