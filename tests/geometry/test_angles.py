"""Angles: the arc tangent's known values, and the same bits wherever its operands lie in memory."""

import math

import numpy as np
from canthus.geometry.angles import arc_tangent


def test_quadrants_are_those_of_the_c_standard():
    """ISO C, annex F.10.1.4: the values of atan2 on the axes; elsewhere the standard library's own."""
    assert arc_tangent([0.0, 1.0, 0.0, -1.0], [1.0, 0.0, -1.0, 0.0]).tolist() == [
        0.0,
        math.pi / 2,
        math.pi,
        -math.pi / 2,
    ]
    ways = np.random.default_rng(3).normal(size=(1000, 2))
    known = [math.atan2(up, across) for up, across in ways]
    np.testing.assert_allclose(arc_tangent(ways[:, 0], ways[:, 1]), known, rtol=1e-15, atol=1e-15)


def test_the_bits_do_not_hang_on_where_the_operands_lie():
    """One plain and one strided operand, a result that lies right behind: where numpy 1.26 rounds another way."""
    rng = np.random.default_rng(0)
    turned = rng.normal(size=(180, 3))
    results, kept = set(), []
    for _ in range(3000):
        kept.append(np.empty(int(rng.integers(1, 4000)), np.uint8))
        if rng.random() < 0.3:
            kept.pop(int(rng.integers(len(kept))))
        across, up, ahead = (turned @ np.eye(3)).T
        results.add(arc_tangent(np.hypot(across, up), ahead).tobytes())
    assert len(results) == 1
