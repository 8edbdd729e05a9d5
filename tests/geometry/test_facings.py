"""Bundles of directions: no face that a ray may leave by is missed."""

import numpy as np
from canthus.geometry.distances.facings import along_bits, facing_bits


def directions(seed, count):
    ways = np.random.default_rng(seed).normal(size=(count, 3))
    ways[:9] = [[1, 0, 0], [0, -1, 0], [0, 0, 1], [1, 1, 0], [-1, 1, 1], [0, 0, -1], [1, -1, 1], [1, 1, 1], [-1, 0, 1]]
    return ways / np.linalg.norm(ways, axis=1, keepdims=True)


def test_every_direction_lies_in_one_bundle_of_24():
    bits = facing_bits(directions(0, 5000).T * 7)
    assert (np.bitwise_count(bits) == 1).all() if hasattr(np, "bitwise_count") else (bits & (bits - 1) == 0).all()
    assert len(np.unique(bits)) == 24


def test_whatever_looks_along_a_way_is_among_its_bundles():
    ways, normals = directions(1, 600), directions(2, 600)
    among = along_bits(ways.T)[:, None] & facing_bits(normals.T)[None] != 0
    assert among[ways @ normals.T > 0].all()


def test_what_looks_straight_against_it_is_not():
    ways = directions(3, 600)
    assert not (along_bits(ways.T) & facing_bits(-ways.T)).any()
