"""Whether a part fits the printer, and whether it is small enough to be swallowed."""

import numpy as np
from numpy.typing import NDArray

from ...geometry.directions import spread_directions
from ...geometry.mesh import Mesh
from ..workpiece import Check
from .findings import WHOLE
from .printers import Printer

SMALL_PARTS_CYLINDER = (31.75, 57.15)
"""Diameter and depth of the test cylinder, mm: 16 CFR 1501.4, reference values section 6."""


def size_findings(name: str, mesh: Mesh, printer: Printer, growth: float = 1.0) -> list[Check]:
    """Whether the part fits the plate as it stands, and whether a child could swallow it.

    `growth` is by how much it is larger on the plate than when it has shrunk.
    """
    width, depth, height = (growth * np.ptp(mesh.vertices, axis=0)).tolist()
    long, short = max(printer.plate[:2]), min(printer.plate[:2])
    filled = 100 * max(max(width, depth) / long, min(width, depth) / short, height / printer.plate[2])
    advice = "turn it, part it, or take a larger printer"
    fits = filled <= 100
    found = [Check(f"{name}: share of the plate", filled, 100, "%", fits, "" if fits else WHOLE, advice=advice)]
    across, length = smallest_tube(mesh)
    inside = across <= SMALL_PARTS_CYLINDER[0] and length <= SMALL_PARTS_CYLINDER[1]
    advice = "a small part: this is not a toy, keep it from children under three"
    what, where = f"{name}: small parts cylinder", WHOLE if inside else ""
    return [*found, Check(what, across, SMALL_PARTS_CYLINDER[0], "mm", not inside, where, False, advice)]


def smallest_tube(mesh: Mesh) -> tuple[float, float]:
    """Diameter and length of the narrowest round tube the part fits in, over some two hundred directions."""
    outermost = [(some @ mesh.vertices.T).argmax(axis=1) for some in np.array_split(spread_directions(2000), 100)]
    points = mesh.vertices[np.unique(np.concatenate(outermost))]  # stands for the hull, to some hundredths of a mm
    ways = spread_directions(400)[:200]
    axes = np.linalg.svd(points - points.mean(axis=0), full_matrices=False)[2]
    ways = np.concatenate([axes, spread_directions(400)[:200]])
    across = 2 * _ring_radii(np.stack([_outline(_across(points, way)) for way in ways]))
    lengths = np.ptp(points @ ways.T, axis=0)
    best = int(np.lexsort((lengths, across))[0])
    return float(across[best]), float(lengths[best])


_TURNS = np.array([[np.cos(angle), np.sin(angle)] for angle in np.arange(128) * np.pi / 64]).T


def _across(points: NDArray[np.float64], way: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n, 2) the points seen along a direction."""
    side = np.cross(way, np.eye(3)[int(np.argmin(np.abs(way)))])
    side /= np.linalg.norm(side)
    seen: NDArray[np.float64] = points @ np.column_stack([side, np.cross(way, side)])
    return seen


def _outline(points: NDArray[np.float64]) -> NDArray[np.float64]:
    """(128, 2) the outermost of (n, 2) points in so many directions; they leave out a part in three thousand."""
    outermost: NDArray[np.float64] = points[(points @ _TURNS).argmax(axis=0)]
    return outermost


def _ring_radii(outlines: NDArray[np.float64]) -> NDArray[np.float64]:
    """(k,) radius of the smallest circle round each of (k, n, 2) outlines, within some parts in a thousand.

    Notes
    -----
    Badoiu and Clarkson 2003: a centre drawn to the farthest point again and again, by less each time.
    """
    centres, rows = outlines.mean(axis=1), np.arange(len(outlines))
    for step in range(1, 400):
        away = outlines - centres[:, None]
        farthest = np.einsum("kni,kni->kn", away, away).argmax(axis=1)
        centres += away[rows, farthest] / (step + 1)
    radii: NDArray[np.float64] = np.linalg.norm(outlines - centres[:, None], axis=2).max(axis=1)
    return radii
