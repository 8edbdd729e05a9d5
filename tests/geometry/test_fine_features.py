"""Knife edges, sheets and needles are found; edges, chamfers and crumbs that print are not."""

import numpy as np
import pytest
from canthus.geometry.mesh import Mesh
from canthus.geometry.printing.fine_features import fine_features
from canthus.geometry.solids.booleans import difference, union
from canthus.geometry.solids.joints import Peg
from canthus.geometry.solids.primitives import box, cylinder, icosphere, prism, sphere

LIMIT = 0.1


def cap(degrees, radius=12.0):
    """What a plane cuts off a ball: its rim is an edge of exactly so many degrees, all round."""
    height = radius * np.cos(np.radians(degrees))
    return difference(sphere(radius, sag=radius / 1000), box((-2 * radius,) * 3, (2 * radius, 2 * radius, height)))


def wedge(degrees, length, width):
    """A bar of that width along z whose cross-section is a right triangle with that angle at the origin."""
    return prism(np.array([[0.0, 0.0], [length, 0.0], [length, length * np.tan(np.radians(degrees))]]), 0.0, width)


@pytest.mark.parametrize("degrees", [8, 15, 25, 32])
def test_a_rim_that_thins_out_to_nothing_is_found_on_the_rim(degrees):
    (found,) = fine_features(cap(degrees), LIMIT)
    rim = 12.0 * np.array([np.sin(np.radians(degrees)), np.cos(np.radians(degrees))])
    place = np.asarray(found.place)
    assert np.hypot(np.hypot(*place[:2]) - rim[0], place[2] - rim[1]) < 0.15
    assert found.across == pytest.approx(2 * np.sqrt(2) * rim[0], rel=0.05)  # the box about a ring, corner to corner
    assert found.tapers
    assert found.thinnest < 0.01


@pytest.mark.parametrize("degrees", [45, 60, 89])
def test_an_edge_that_prints_is_not_told(degrees):
    assert fine_features(cap(degrees), LIMIT) == []


@pytest.mark.parametrize(
    "part",
    [
        box((0, 0, 0), (8, 8, 8)),
        cylinder((0, 0, 0), (0, 0, 10), 3),
        Peg(5.0, 8.0, np.radians(2.0), 0.5, 0.4).solid(2.0),
        difference(sphere(8, sag=0.01), cylinder((0, 0, 0), (0, 0, 9), 1.5, 0.005)),
        wedge(45, 5, 8),
    ],
    ids=["box", "cylinder", "chamfered peg", "bored ball", "edge of 45 degrees"],
)
def test_clean_parts_have_none(part):
    assert fine_features(part, LIMIT) == []


def test_a_lip_a_sheet_and_a_needle_are_told_apart():
    """On a block: a lip that tapers over 2 mm to nothing, a sheet 0.06 mm thin, a needle 0.08 mm thick."""
    lip = wedge(14.0, 2.0, 2.0).moved(np.array([[-1.0, 0, 0, 7], [0, -1.0, 0, 5], [0, 0, 1, 1], [0, 0, 0, 1]]))
    block = union(
        box((0, 0, 0), (5.1, 8, 4)),
        lip,
        box((2, 1, 3.9), (2.06, 5, 6)),
        cylinder((1, 7, 3.9), (1, 7, 5), 0.04, 1e-4),
    )
    found = {each.place[2] > 4: each for each in fine_features(block, LIMIT)}
    assert len(fine_features(block, LIMIT)) == 3
    first = fine_features(block, LIMIT)[0]
    np.testing.assert_allclose(first.place[0], 2.03, atol=0.01)  # the sheet reaches farthest
    assert first.usual == pytest.approx(0.06, abs=1e-6)
    assert not first.tapers
    off = np.abs(np.asarray(found[False].place) - [7.0, 5.0, 2.0])  # the edge: along z from 1 to 3
    assert (off <= [0.15, 0.1, 1.0]).all()
    assert found[False].tapers
    needle = next(each for each in fine_features(block, LIMIT) if each.place[1] > 6)
    assert needle.usual == pytest.approx(0.08, abs=0.01)


def test_crumbs_of_a_scan_are_none():
    """Single vertices pulled out by an edge's length, as noise crumples a fine scan."""
    ball, chance = icosphere(6, 5.0), np.random.default_rng(3)
    out = ball.vertices / 5.0
    pulled = ball.vertices + 0.1 * (chance.random((len(out), 1)) < 0.01) * out
    assert fine_features(Mesh(pulled, ball.triangles), LIMIT) == []


def test_a_large_part_is_looked_at_finely_enough():
    """At life size a million places lie 0.3 mm apart: the edge of a cap 200 mm wide is still one feature."""
    (found,) = fine_features(cap(20, radius=300.0), LIMIT)
    assert found.across == pytest.approx(2 * np.sqrt(2) * 300 * np.sin(np.radians(20)), rel=0.05)
