"""The sculptor's vocabulary of implicit forms: negative inside, near a distance in millimetres outside.

Points are (n, 3) float32 arrays in the sculptor's frame: across (towards the sitter's left), forward, up.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

Field = NDArray[np.float32]
Points = NDArray[np.float32]


def ellipsoid(points: Points, centre: Sequence[float], radii: Sequence[float], turn: NDArray | None = None) -> Field:
    """An ellipsoid; `turn` is a (3, 3) rotation whose columns are its axes."""
    local = points - np.asarray(centre, np.float32)
    if turn is not None:
        local = local @ np.asarray(turn, np.float32)
    radii = np.asarray(radii, np.float32)
    inner = np.sqrt(np.einsum("nk,nk->n", local / radii, local / radii))
    slope = np.sqrt(np.einsum("nk,nk->n", local / radii**2, local / radii**2))
    return inner * (inner - 1) / np.maximum(slope, 1e-6)


def sphere(points: Points, centre: Sequence[float], radius: float) -> Field:
    """A sphere, an exact distance."""
    away = points - np.asarray(centre, np.float32)
    return np.sqrt(np.einsum("nk,nk->n", away, away)) - np.float32(radius)


def union(first: Field, second: Field, blend: float | Field = 0.0) -> Field:
    """Both forms, melted together over `blend` millimetres (one width, or one a point)."""
    width = np.maximum(np.asarray(blend, np.float32), np.float32(1e-3))
    near = np.maximum(width - np.abs(first - second), 0) / width
    return np.minimum(first, second) - near**3 * width / np.float32(6)


def without(form: Field, tool: Field, blend: float | Field = 0.0) -> Field:
    """The form less the tool, the edge rounded over `blend` millimetres."""
    return -union(-form, tool, blend)


def within(first: Field, second: Field, blend: float | Field = 0.0) -> Field:
    """What both forms share, the edge rounded over `blend` millimetres."""
    return -union(-first, -second, blend)


def step(values: NDArray, start: float, end: float) -> NDArray:
    """0 before `start`, 1 after `end`, smooth between (either order)."""
    t = np.clip((values - start) / (end - start), 0, 1)
    return t * t * (3 - 2 * t)


def bump(values: NDArray, width: float) -> NDArray:
    """A bell of height 1 and standard deviation `width`."""
    return np.exp(-0.5 * (values / width) ** 2)


def curve(knots: Sequence[Sequence[float]], count: int = 200, closed: bool = False) -> NDArray[np.float64]:
    """(count, d) points on a smooth curve through the knots, spaced by chord length."""
    knots = np.asarray(knots, float)
    if closed:
        knots = np.vstack([knots, knots[:1]])
    at = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(knots, axis=0), axis=1))])
    spline = CubicSpline(at, knots, bc_type="periodic" if closed else "natural")
    return spline(np.linspace(0, at[-1], count, endpoint=not closed))


def line_through(at: Sequence[float], values: Sequence[float]) -> CubicSpline:
    """A smooth function of one variable through the given values, flat beyond its ends."""
    spline = CubicSpline(at, values, bc_type="natural")
    low, high = min(at), max(at)
    return lambda x: spline(np.clip(x, low, high))


def turned(about: str, degrees: float) -> NDArray[np.float64]:
    """(3, 3) rotation about an axis of the sculptor's frame: "across", "forward" or "up"."""
    axis = {"across": 0, "forward": 1, "up": 2}[about]
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    i, j = (axis + 1) % 3, (axis + 2) % 3
    matrix = np.eye(3)
    matrix[i, i], matrix[j, j], matrix[i, j], matrix[j, i] = c, c, -s, s
    return matrix
