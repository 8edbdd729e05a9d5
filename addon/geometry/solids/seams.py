"""Surfaces along which a solid is parted: a plane, or a ruled surface through a curve that goes round.

A seam is told by its height over every bearing round an axis. Outside half the curve's least radius its rulings run
level outwards, so the two rims meet squarely; within, they run to the curve's mean height on the axis. The part above
always comes off along the axis, whatever the curve.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..angles import arc_tangent
from ..errors import NotPossible
from ..mesh import Mesh
from .rings import band
from .sections import Plane, plane

RAYS = 720
SEAM = 0.01
"""Gap left between the two rims, mm, so that their faces never overlap in a file's rounding."""
_WIDEST_GAP = np.radians(120.0)
Vectors = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Seam:
    """A parting surface. `frame` has its origin on the axis and `up` along it; `levels` is the (RAYS,) height at each
    bearing from the frame's first direction, the first at -180 degrees; `inner` the radius from which it runs level.
    """

    frame: Plane
    levels: NDArray[np.float64]
    inner: float = 1.0

    @property
    def flat(self) -> bool:
        """Whether it is a plane."""
        return not np.ptp(self.levels)

    def level(self, flat: Vectors) -> NDArray[np.float64]:
        """(n,) its height at (n, 2) places of the frame."""
        turns = (arc_tangent(flat[:, 1], flat[:, 0]) + np.pi) / (2 * np.pi) * RAYS
        low = np.floor(turns).astype(np.int64)
        one, other = self.levels[low % RAYS], self.levels[(low + 1) % RAYS]
        there = one + (turns - low) * (other - one)
        mean = float(self.levels.mean())
        reach = np.minimum(np.linalg.norm(flat, axis=1) / self.inner, 1.0)
        return np.asarray(mean + reach * (there - mean))

    def heights(self, points: Vectors) -> NDArray[np.float64]:
        """(n,) how far (n, 3) points lie above it, along its axis."""
        return np.asarray(self.frame.heights(points) - self.level(self.frame.flat(points)))

    def above(self, reach: float, lift: float = 0.0) -> Mesh:
        """The solid of all that lies above it in its frame, `reach` far every way, begun `lift` higher."""
        angles = 2 * np.pi * np.arange(RAYS) / RAYS - np.pi
        ways = np.column_stack([np.cos(angles), np.sin(angles)])
        low, mean = self.levels + lift, float(self.levels.mean()) + lift
        rings = [
            np.column_stack([self.inner * ways, low]),
            np.column_stack([reach * ways, low]),
            np.column_stack([reach * ways, np.full(RAYS, reach)]),
        ]
        here = np.arange(RAYS)
        ahead = np.roll(here, -1)
        first, last = 3 * RAYS, 3 * RAYS + 1
        faces = [np.column_stack([ahead, here, np.full(RAYS, first)])]
        faces += [band(ring, ring + RAYS, RAYS) for ring in (0, RAYS)]
        faces.append(np.column_stack([2 * RAYS + here, 2 * RAYS + ahead, np.full(RAYS, last)]))
        vertices = np.concatenate([*rings, [[0.0, 0.0, mean], [0.0, 0.0, reach]]])
        return Mesh(vertices, np.concatenate(faces).astype(np.int32))


def flat_seam(cut: Plane) -> Seam:
    """A plane as a seam; its origin has to lie within the solid."""
    return Seam(cut, np.zeros(RAYS))


def seam_through(points: Vectors, up: Vectors | None = None) -> Seam:
    """The seam through a curve drawn on the skin.

    Parameters
    ----------
    points : (n, 3) places along the curve, in order round the head, either way; four at least
    up : (3,) direction in which the part comes off; the normal of the plane nearest to the curve where it is None,
        pointing up

    Raises
    ------
    NotPossible
        Too few points, points in a line, or a curve that does not go once round as seen along `up`.
    """
    points = np.asarray(points, dtype=np.float64)
    if len(points) < 4:
        raise NotPossible(f"a parting curve needs four points at least, not {len(points)}")
    middle = points.mean(axis=0)
    spread = np.linalg.svd(points - middle, full_matrices=False)
    if spread[1][1] < 0.01 * spread[1][0]:
        raise NotPossible("the points of the parting curve lie in a line: they have to go round the head")
    if up is None:
        up = spread[2][2] * (1.0 if spread[2][2][2] >= 0 else -1.0)
    frame = plane(middle, up)
    flat, heights = frame.flat(points), frame.heights(points)
    turns = arc_tangent(flat[:, 1], flat[:, 0])
    steps = np.mod(np.diff(np.append(turns, turns[0])) + np.pi, 2 * np.pi) - np.pi
    if abs(abs(steps.sum()) - 2 * np.pi) > 1e-6 or not (np.all(steps > 0) or np.all(steps < 0)):
        raise NotPossible("the parting curve folds back or does not go once round: give its points in order round it")
    if np.abs(steps).max() > _WIDEST_GAP:
        raise NotPossible(
            f"the parting curve has a gap of {np.degrees(np.abs(steps).max()):.0f} degrees: give more points there"
        )
    levels = _round(turns, heights)(2 * np.pi * np.arange(RAYS) / RAYS - np.pi)
    return Seam(frame, levels, 0.5 * float(np.linalg.norm(flat, axis=1).min()))


def _round(turns: NDArray[np.float64], heights: NDArray[np.float64]) -> Callable[[Vectors], Vectors]:
    """A smooth line through the heights, going round, that never rises over the points beside it."""
    from scipy.interpolate import PchipInterpolator  # here: steps import this room when they are listed

    order = np.argsort(turns, kind="stable")
    turns, heights = turns[order], heights[order]
    wide = np.concatenate([turns[-3:] - 2 * np.pi, turns, turns[:3] + 2 * np.pi])
    line: Callable[[Vectors], Vectors] = PchipInterpolator(wide, np.concatenate([heights[-3:], heights, heights[:3]]))
    return line
