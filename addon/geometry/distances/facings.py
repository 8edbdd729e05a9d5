"""Which ways faces look, told apart in 24 bundles of directions: a set of them fits into one number."""

from collections.abc import Sequence
from itertools import product

import numpy as np
from numpy.typing import NDArray

from ..directions import unit

_FINE = 8  # steps of a direction's components, along half an axis, by which it is looked up


def _bundle_middles() -> tuple[NDArray[np.float64], float]:
    """The middle of each bundle, a quarter of a cube's side seen from the cube's middle, and how far it reaches."""
    middles, reach = np.zeros((24, 3)), 1.0
    for axis, *signs in product(range(3), (0, 1), (0, 1), (0, 1)):
        turned = np.roll(2.0 * np.array(signs) - 1, axis)  # the sign along the axis first
        corners = np.array([turned * np.roll([1, *others], axis) for others in product((0, 1), (0, 1))])
        ways = unit(corners)
        middle = ways.sum(axis=0) / np.linalg.norm(ways.sum(axis=0))
        middles[8 * axis + 4 * signs[0] + 2 * signs[1] + signs[2]] = middle
        reach = min(reach, float((ways @ middle).min()))
    return middles, float(np.arccos(reach))


_MIDDLES, _REACH = _bundle_middles()


def _table() -> NDArray[np.uint32]:
    """For directions by their rounded components, the bits of all bundles with some direction less than square to one
    of them.
    """
    steps = np.arange(-_FINE, _FINE + 1) / _FINE
    near = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), axis=-1).reshape(-1, 3) @ _MIDDLES.T
    off = np.sqrt(3) / (2 * _FINE)  # from a direction to its rounded one
    bits = (near > -np.sin(_REACH) - off - 1e-9).astype(np.uint32) << np.arange(24, dtype=np.uint32)
    table: NDArray[np.uint32] = np.bitwise_or.reduce(bits, axis=1)
    return table


_ALONG = _table()
Columns = Sequence[NDArray[np.float32] | NDArray[np.float64]] | NDArray[np.float64]


def facing_bits(normals: Columns) -> NDArray[np.uint32]:
    """(n,) the bit of the bundle that each direction, of any length, lies in; its three (n,) columns are given."""
    far = [np.abs(column) for column in normals]
    up = [(column >= 0).astype(np.uint32) for column in normals]
    last = far[2] > np.maximum(far[0], far[1])
    middle = ~last & (far[1] > far[0])
    codes = [np.uint32(8 * k) + 4 * up[k] + 2 * up[(k + 1) % 3] + up[(k + 2) % 3] for k in range(3)]
    bits: NDArray[np.uint32] = np.uint32(1) << np.where(last, codes[2], np.where(middle, codes[1], codes[0]))
    return bits


def along_bits(ways: Columns) -> NDArray[np.uint32]:
    """(n,) for unit vectors, given as three (n,) columns, the bits of all bundles that may hold a direction less than
    square to them.
    """
    x, y, z = (np.rint(column * _FINE).astype(np.int32) + _FINE for column in ways)
    wide = 2 * _FINE + 1
    bits: NDArray[np.uint32] = _ALONG.take((x * wide + y) * wide + z)
    return bits
