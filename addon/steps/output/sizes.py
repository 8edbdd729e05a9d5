"""Whether a part fits the printer, and whether it is small enough to be swallowed."""

import numpy as np
from numpy.typing import NDArray

from ...geometry.mesh import Mesh
from ..workpiece import Check
from .printers import Printer

SMALL_PARTS_CYLINDER = (31.75, 57.15)
"""Diameter and depth of the test cylinder, mm: 16 CFR 1501.4, reference values section 6."""


def size_findings(name: str, mesh: Mesh, printer: Printer) -> list[Check]:
    """Whether the part fits the plate as it stands, and whether a child could swallow it."""
    width, depth, height = np.ptp(mesh.vertices, axis=0).tolist()
    long, short = max(printer.plate[:2]), min(printer.plate[:2])
    filled = 100 * max(max(width, depth) / long, min(width, depth) / short, height / printer.plate[2])
    advice = "turn it, part it, or take a larger printer"
    found = [Check(f"{name}: share of the plate", filled, 100, "%", filled <= 100, advice=advice)]
    across, length = smallest_tube(mesh)
    inside = across <= SMALL_PARTS_CYLINDER[0] and length <= SMALL_PARTS_CYLINDER[1]
    advice = "a small part: this is not a toy, keep it from children under three"
    found.append(
        Check(f"{name}: small parts cylinder", across, SMALL_PARTS_CYLINDER[0], "mm", not inside, "", False, advice)
    )
    return found


def smallest_tube(mesh: Mesh) -> tuple[float, float]:
    """Diameter and length of the narrowest round tube the part fits in, over some two hundred directions."""
    outermost = [(some @ mesh.vertices.T).argmax(axis=1) for some in np.array_split(_directions(2000), 100)]
    points = mesh.vertices[np.unique(np.concatenate(outermost))]  # stands for the hull, to some hundredths of a mm
    ways = _directions(400)[:200]
    axes = np.linalg.svd(points - points.mean(axis=0), full_matrices=False)[2]
    best = (np.inf, np.inf)
    for way in np.concatenate([axes, ways]):
        flat = _across(points, way)
        # Any width across is a diameter at least: most directions need no circle.
        if np.ptp(flat @ _HALF_TURN, axis=0).max() < best[0]:
            best = min(best, (2 * _ring_radius(flat), float(np.ptp(points @ way))))
    return best


_HALF_TURN = np.array([[np.cos(angle), np.sin(angle)] for angle in np.arange(8) * np.pi / 8]).T


def _directions(count: int) -> NDArray[np.float64]:
    """(count, 3) unit vectors spread evenly over the sphere, from the top down."""
    turns, heights = np.arange(count) * np.pi * (3 - 5**0.5), 1 - (2 * np.arange(count) + 1) / count
    level = np.sqrt(1 - heights**2)
    return np.column_stack([level * np.cos(turns), level * np.sin(turns), heights])


def _across(points: NDArray[np.float64], way: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n, 2) the points seen along a direction."""
    side = np.cross(way, np.eye(3)[int(np.argmin(np.abs(way)))])
    side /= np.linalg.norm(side)
    seen: NDArray[np.float64] = points @ np.column_stack([side, np.cross(way, side)])
    return seen


def _ring_radius(points: NDArray[np.float64]) -> float:
    """Radius of the smallest circle round the points, within some parts in a thousand (Badoiu and Clarkson 2003)."""
    centre = points.mean(axis=0)
    for step in range(1, 400):
        away = ((points - centre) ** 2).sum(axis=1)
        centre = centre + (points[int(away.argmax())] - centre) / (step + 1)
    return float(np.linalg.norm(points - centre, axis=1).max())
