"""A second skin over a third of a body whose shape is a formula: found, measured, laid back."""

import numpy as np
import pytest
from canthus.geometry.cleaning.layers import merged_layers, spread
from canthus.geometry.cloud import Cloud
from canthus.steps.clean.merge_layers import MergeLayers
from canthus.steps.workpiece import Workpiece


def lump(directions):
    """Radius of a head-sized lump with folds a few millimetres deep in each direction."""
    x, y, z = directions.T
    return 60 + 3 * np.sin(6 * x) * np.cos(5 * y) + 2 * np.cos(7 * z)


def skin(count, seed, noise=0.06):
    rng = np.random.default_rng(seed)
    ways = rng.standard_normal((count, 3))
    ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    return ways * (lump(ways) + noise * rng.standard_normal(count))[:, None]


def off(points):
    """Distance to the lump, near enough: its slopes stay under a third."""
    radius = np.linalg.norm(points, axis=1)
    return radius - lump(points / radius[:, None])


def doubled(offset, count=100_000, share=20_000):
    body, second = skin(count, 0), skin(share * 4, 1)
    second = second[second[:, 1] < -20][:share]
    turn = 0.001 * np.cross([0.6, 0, 0.8], second - second.mean(axis=0))
    return body, second + np.array([0.1, -0.97, 0.2]) * offset + turn


@pytest.mark.parametrize("offset", [0.4, 0.8])
def test_a_second_skin_is_found_and_laid_back(offset):
    """Bar of the project: afterwards the spread is at most 1.2 of a single clean skin's."""
    body, second = doubled(offset)
    found = merged_layers(np.concatenate([body, second]))
    assert len(found.layers) == 1
    assert found.layers[0].offset == pytest.approx(offset * 0.85, rel=0.25)  # along the normals, slanting to the move
    assert found.moved[len(body) :].mean() > 0.75
    assert found.moved[: len(body)].mean() < 0.01
    after = off(found.points[len(body) :])
    assert np.sqrt(np.median(after**2)) < 0.25 * np.sqrt(np.median(off(second) ** 2))
    front = found.points[found.points[:, 1] < -25]
    assert spread(front) < 1.2 * spread(body[body[:, 1] < -25])


def test_a_single_skin_is_left_alone():
    body = skin(100_000, 0)
    found = merged_layers(body)
    assert found.layers == ()
    np.testing.assert_array_equal(found.points, body)


def test_the_two_sides_of_a_thin_part_are_not_merged():
    """A plate 1.5 mm thick, thinner than no lid: its sides face away from each other and are farther than `widest`."""
    rng = np.random.default_rng(0)
    flat = rng.uniform(-20, 20, (40_000, 3))
    flat[:, 2] = np.where(rng.random(40_000) < 0.5, 0.75, -0.75) + 0.05 * rng.standard_normal(40_000)
    assert merged_layers(flat).layers == ()


def test_the_step_says_where_and_marks_when_asked():
    body, second = doubled(0.6)
    cloud = Cloud(np.concatenate([body, second]))
    piece = MergeLayers(mode="mark").apply(Workpiece(scan=cloud))
    assert piece.figures["second_skins"] == 1
    assert piece.scan.columns["layer"][len(body) :].mean() > 0.75
    np.testing.assert_array_equal(piece.scan.points, cloud.points)
    assert "second skin" in piece.notes[0]
    merged = MergeLayers().apply(Workpiece(scan=cloud))
    assert merged.figures["spread_mm"] < merged.figures["spread_before_mm"]
