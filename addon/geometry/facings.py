"""Which ways faces look, told apart in 24 bundles of directions: a set of them fits into one number."""

from itertools import product

import numpy as np
from numpy.typing import NDArray


def _bundle_middles() -> tuple[NDArray[np.float64], float]:
    """The middle of each bundle, a quarter of a cube's side seen from the cube's middle, and how far it reaches."""
    middles, reach = np.zeros((24, 3)), 1.0
    for axis, *signs in product(range(3), (0, 1), (0, 1), (0, 1)):
        turned = np.roll(2.0 * np.array(signs) - 1, axis)  # the sign along the axis first
        corners = np.array([turned * np.roll([1, *others], axis) for others in product((0, 1), (0, 1))])
        unit = corners / np.linalg.norm(corners, axis=1, keepdims=True)
        middle = unit.sum(axis=0) / np.linalg.norm(unit.sum(axis=0))
        middles[8 * axis + 4 * signs[0] + 2 * signs[1] + signs[2]] = middle
        reach = min(reach, float((unit @ middle).min()))
    return middles, float(np.arccos(reach))


_MIDDLES, _REACH = _bundle_middles()


def facing_bits(normals: NDArray[np.float64]) -> NDArray[np.uint32]:
    """(n,) the bit of the bundle that each of (n, 3) directions, of any length, lies in."""
    axis = np.abs(normals).argmax(axis=1)
    positive = (normals >= 0).astype(np.uint32)
    rows = np.arange(len(normals))
    first, second, third = (positive[rows, (axis + k) % 3] for k in range(3))
    bits: NDArray[np.uint32] = np.uint32(1) << (8 * axis.astype(np.uint32) + 4 * first + 2 * second + third)
    return bits


def along_bits(ways: NDArray[np.float64]) -> NDArray[np.uint32]:
    """(n,) for each of (n, 3) unit vectors, the bits of all bundles with some direction less than square to it."""
    bits = np.zeros(len(ways), np.uint32)
    for number, near in enumerate((ways @ _MIDDLES.T > -np.sin(_REACH) - 1e-9).T):
        bits |= near.astype(np.uint32) << np.uint32(number)
    return bits
