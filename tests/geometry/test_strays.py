"""Strays of every kind around a body with thin parts: found, and nothing good lost."""

import numpy as np
import pytest
from canthus.geometry.cleaning.flocks import connected_cells
from canthus.geometry.cleaning.strays import CLUSTER, GOOD, LONE, found_strays
from canthus.geometry.clouds.thinning import thinned


def scanned(count=60_000, seed=0):
    """A ball of radius 60 whose far half is thinned to a tenth, and a fin 2 mm thick: noise 0.07."""
    rng = np.random.default_rng(seed)
    points = rng.standard_normal((count, 3))
    points *= 60 / np.linalg.norm(points, axis=1, keepdims=True)
    points = points[(points[:, 1] < 0) | (rng.random(count) < 0.1)]
    fin = np.stack([60 + 25 * rng.random(5000), -10 - 20 * rng.random(5000), np.sign(rng.random(5000) - 0.5)], axis=1)
    points = np.concatenate([points, fin])
    return points + 0.07 * rng.standard_normal(points.shape), rng


def test_far_strays_and_clusters_go_and_the_surface_stays():
    """Bars of the project: 98 % of what is over 1 mm off, at most 0.5 % of what is good, thin parts and thin
    sampling included.
    """
    points, rng = scanned()
    lone = rng.uniform(-110, 110, (1200, 3))
    lone = lone[np.abs(np.linalg.norm(lone, axis=1) - 60) > 1.5]
    ways = rng.standard_normal((8, 3))
    flyers = np.concatenate([rng.standard_normal((60, 3)) * 1.2 + 85 * way / np.linalg.norm(way) for way in ways])
    flyers = flyers[np.abs(np.linalg.norm(flyers, axis=1) - 60) > 1.5]
    everything = np.concatenate([points, lone, flyers])
    kind = found_strays(everything).kind
    good, bad = kind[: len(points)], kind[len(points) :]
    assert (good != GOOD).mean() < 0.005
    fin = points[:, 0] > 62
    assert (good[fin] != GOOD).mean() < 0.01
    assert (good[points[:, 1] > 0] != GOOD).mean() < 0.01  # thinned to a tenth, at random
    assert (bad != GOOD).mean() > 0.98
    assert (bad[: len(lone)] == LONE).mean() > 0.9
    assert (bad[len(lone) :] == CLUSTER).mean() > 0.75


def test_clusters_that_hang_on_the_skin_go_too():
    """Dense flocks round places 3.5 mm over the ball: they reach down to it, so no gap tells them apart.

    Of what is over 1 mm off most goes, 66 % here (65 to 83 % with other seeds); without a look at what fills space it
    was 14 %.
    """
    points, rng = scanned()
    ways = np.array([(0.0, -1, 0), (0.6, -0.8, 0), (-0.6, -0.8, 0), (0, -0.6, 0.8), (0, -0.6, -0.8)])
    flocks = np.concatenate([rng.standard_normal((120, 3)) * 1.2 + 63.5 * way for way in ways])
    kind = found_strays(np.concatenate([points, flocks])).kind
    far = np.abs(np.linalg.norm(flocks, axis=1) - 60) > 1.0
    assert (kind[len(points) :][far] != GOOD).mean() > 0.6
    assert (kind[: len(points)] != GOOD).mean() < 0.005


def test_flocks_off_thinly_scanned_parts_go_and_these_stay():
    """Small dense flocks 5 to 7 mm over the half thinned to a tenth: of their points, next to none is left."""
    points, rng = scanned()
    ways = np.array([(0.0, 1, 0), (0.6, 0.8, 0), (-0.6, 0.8, 0), (0, 0.6, 0.8), (0, 0.6, -0.8)])
    flocks = [
        rng.standard_normal((size, 3)) + (60 + size / 5) * way for size, way in zip(range(28, 43, 3), ways, strict=True)
    ]
    kind = found_strays(np.concatenate([points, *flocks])).kind
    assert (kind[len(points) :] != GOOD).mean() > 0.98
    assert (kind[: len(points)][points[:, 1] > 0] != GOOD).mean() < 0.015


def test_a_clean_surface_loses_next_to_nothing():
    points, _ = scanned()
    assert (found_strays(points).kind != GOOD).mean() < 0.003


def test_wider_spread_keeps_more():
    points, rng = scanned(20_000)
    points = np.concatenate([points, rng.uniform(-110, 110, (500, 3))])
    lost = [int((found_strays(points, spread=spread).kind != GOOD).sum()) for spread in (1.5, 3.0, 5.0)]
    assert lost == sorted(lost, reverse=True)


def test_too_few_points_are_all_kept():
    assert (found_strays(np.arange(15.0).reshape(5, 3)).kind == GOOD).all()


@pytest.mark.parametrize(("gap", "reach", "pieces"), [(1, 2.0, 1), (2, 2.0, 2), (1, 1.5, 3)])
def test_cells_hang_together_by_corners_and_not_over_a_gap_or_from_afar(gap, reach, pieces):
    """Middles of cells of side 1 that share a corner lie root three apart."""
    cells = np.array([[0, 0, 0], [1, 1, 1], [1 + gap, 2, 2]])
    assert len(set(connected_cells(thinned(cells + 0.5, 1.0), reach).tolist())) == pieces
