"""The solids a keyed rim is made of: the spigot's body, the lining of its inside, and the notch in it.

A spigot's side is given as (levels, RAYS, 3) points, level by level upwards from the cut at z = 0, RAYS of them evenly
round the axis. Lengths in mm, angles in radians.
"""

import numpy as np
from numpy.typing import NDArray

from ..mesh import Mesh
from ..transforms import rotation
from .primitives import prism
from .rings import band

RAYS = 360
_OVER_TOP = 0.002
"""Millimetres that a lining goes on over the spigot's top, to be cut off with it."""
_IN_SKIN = 0.02
"""Millimetres under the spigot's side that a lining begins, so that no face of it falls on another."""


def loft(side: NDArray[np.float64], bottom: float) -> Mesh:
    """The solid inside the side, going straight down to `bottom` below the cut."""
    foot = side[0].copy()
    foot[:, 2] = bottom
    rings = np.concatenate([foot[None], side])
    count = len(rings)
    here, ahead = np.arange(RAYS), np.roll(np.arange(RAYS), -1)
    walls = [band(ring * RAYS, (ring + 1) * RAYS, RAYS) for ring in range(count - 1)]
    vertices = np.concatenate([rings.reshape(-1, 3), [[0.0, 0.0, bottom], [0.0, 0.0, float(side[-1, 0, 2])]]])
    foot_tip, top_tip, top = count * RAYS, count * RAYS + 1, (count - 1) * RAYS
    ends = [
        np.column_stack([ahead, here, np.full(RAYS, foot_tip)]),
        np.column_stack([top + here, top + ahead, np.full(RAYS, top_tip)]),
    ]
    return Mesh(vertices, np.concatenate([*walls, *ends]).astype(np.int32))


def lining(side: NDArray[np.float64], wall: float) -> Mesh:
    """A ring inside the spigot's side, so thick, from the cut to its top; under the cut it runs out on the wall, so
    that it grows out of that as it is printed.
    """
    side = np.concatenate([side, side[-1:] + np.array([0.0, 0.0, _OVER_TOP])])
    across = side * (1.0, 1.0, 0.0)
    across /= np.linalg.norm(across, axis=2, keepdims=True)
    thick = 1.1 * wall  # thick towards the axis, which is more than square to the side
    faces = [side - depth * across for depth in (_IN_SKIN, thick)]
    foot = faces[0][:1] - np.array([0.0, 0.0, 1.5 * thick])
    rings = np.concatenate([foot, faces[0], faces[1][::-1]])  # up its outside, down its inside, back to its foot
    count = len(rings)
    walls = [band(ring * RAYS, (ring + 1) % count * RAYS, RAYS) for ring in range(count)]
    return Mesh(rings.reshape(-1, 3), np.concatenate(walls).astype(np.int32))


def notch(
    side: NDArray[np.float64], width: float, top: float, flare: float, bearing: float, far: float, shrink: float = 0.0
) -> Mesh:
    """What is cut out of the spigot: a wedge from its outside inward, `top` high, wider upwards by `flare` radians on
    either side, `shrink` smaller all round; it reaches out `far` beyond the side.
    """
    half, slope = width / 2 - shrink, np.tan(flare)
    radii = np.linalg.norm(side[0, :, :2], axis=1)
    start = 0.75 * float(radii.min()) + shrink
    profile = [(-half, 0.0), (half, 0.0), (half + slope * top, top), (-half - slope * top, top)]
    wedge = prism(profile, start, far + radii.max())
    # Made lying along z with its height along y; stood up so that z becomes the way outward.
    matrix = np.eye(4)
    matrix[:3, :3] = rotation((0.0, 0.0, 1.0), bearing) @ np.array([[0, 0, 1.0], [1.0, 0, 0], [0, 1.0, 0]])
    return wedge.moved(matrix)
