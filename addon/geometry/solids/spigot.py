"""A shell parted by a plane, with a rim that registers: a spigot on one part inside a collar on the other.

Above the cut the inner half of the wall stays with the lower part, as a spigot; the outer half goes with the upper
part, which slides on along the cut's normal. A notch in the spigot and a tab in it let it go on one way only.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..angles import arc_tangent
from ..errors import NotPossible
from ..mesh import Mesh
from ..progress import SILENT, Progress
from .booleans import difference, intersection, union
from .primitives import box
from .seams import SEAM
from .sections import Outline, Plane, deepest, sections
from .spigot_solids import RAYS, lining, loft, notch

LEVELS = 7
HARMONICS = 12
"""Waves kept of the mating outline: it follows the shape of the head, not its hair."""


@dataclass(frozen=True)
class Spigot:
    """Lengths in mm, angles in radians. `height` of the spigot over the cut; `clearance` between it and the collar all
    round; `draft` least slope of its side; `lead` narrowing at its top; `rim` most of the wall left outside it;
    `notch` width of the notch, at `bearing` from the cut's first direction; `wall` least thickness of the spigot, which
    is lined inwards where a hollow leaves it less.
    """

    height: float
    clearance: float
    draft: float
    lead: float
    rim: float
    notch: float
    bearing: float
    wall: float = 0.0


@dataclass(frozen=True, eq=False)
class Parted:
    """The two parts; the thinnest wall the joint leaves in the collar and in the spigot; and the width of the largest
    ball that passes through the opening, 0 where the part below is solid. Millimetres.
    """

    below: Mesh
    above: Mesh
    collar_wall: float
    spigot_wall: float
    opening: float


def parted(mesh: Mesh, cut: Plane, shape: Spigot, progress: Progress = SILENT) -> Parted:
    """Part a closed mesh, hollow or solid.

    Parameters
    ----------
    mesh : closed
    cut : the plane; its origin lies inside, and the part above is taken off along its normal
    shape : of the rim
    progress : told how far the work is

    Returns
    -------
    Parted, both parts closed and in the mesh's own frame.

    Raises
    ------
    NotPossible
        The plane misses the mesh, or the rim is too thin for a spigot and a collar.
    """
    progress(0.0, "measuring the rim")
    outer, inner, outlines = _rims(mesh, cut, shape)
    side = _side(outer, inner, shape)
    grown = _grown(side, shape.clearance)
    collar, spigot = _walls(side, grown, outlines, inner.max() > 0)
    if spigot < shape.wall:
        mesh = union(mesh, lining(side, shape.wall).moved(cut.matrix))
        outlines = _rims(mesh, cut, shape)[2]
        collar, spigot = _walls(side, grown, outlines, inner.max() > 0)
    if min(collar, spigot) <= 0:
        raise NotPossible(
            f"the rim of the parting is too thin for a spigot and a collar of {shape.clearance:g} mm clearance: "
            "thicken the wall, or move the cut"
        )
    progress(0.2, "shaping the spigot")
    local = mesh.moved(np.linalg.inv(cut.matrix))
    low, high = local.vertices.min(axis=0) - 1.0, local.vertices.max(axis=0) + 1.0
    flare, far, top = max(shape.draft, np.radians(3.0)), float(np.abs(high).max()), shape.height + 1.0
    plug = difference(loft(side, low[2]), notch(side, shape.notch, top, flare, shape.bearing, far))
    tab = notch(grown, shape.notch, top, flare, shape.bearing, far, shape.clearance)
    plug_grown = difference(loft(grown, low[2]), tab)
    over = difference(box((low[0], low[1], 0.0), high), plug)
    cap = difference(box((low[0], low[1], SEAM), high), plug_grown)
    progress(0.4, "cutting the part below")
    below = difference(local, over).moved(cut.matrix)
    progress(0.7, "cutting the part above")
    above = intersection(local, cap).moved(cut.matrix)
    return Parted(below, above, collar, spigot, opening_of(outlines))


_POCKET = 0.1  # of the section's area: a smaller hole is a pocket

Rows = NDArray[np.float64]


def _rims(mesh: Mesh, cut: Plane, shape: Spigot) -> tuple[Rows, Rows, list[tuple[Outline, ...]]]:
    """(LEVELS, RAYS) distance from the axis to the outer and inner face at each level up the spigot (inner 0 where it
    is solid), and the outlines there.
    """
    heights = np.linspace(0.0, shape.height, LEVELS)
    found = [tuple(outlines) for outlines in sections(mesh, cut, heights + 1e-6)]
    outer, inner = np.zeros((LEVELS, RAYS)), np.zeros((LEVELS, RAYS))
    for level, outlines in enumerate(found):
        rounds = [outline for outline in outlines if outline.area > 0]
        if not rounds or rounds[0].depths(np.zeros((1, 2)))[0] <= 0:
            raise NotPossible("the parting does not go round: its axis leaves the head; move or tilt the cut")
        outer[level] = _reach(rounds[0], np.minimum)
        for hole in _hollows(outlines):
            inner[level] = np.maximum(inner[level], _reach(hole, np.maximum))
    return outer, inner, found


def _hollows(outlines: tuple[Outline, ...]) -> list[Outline]:
    """The holes that are the shell's inside; small ones are pockets in hair, which the rim may pass through."""
    largest = max(outline.area for outline in outlines)
    return [outline for outline in outlines if -outline.area > _POCKET * largest]


def _reach(outline: Outline, take: np.ufunc) -> NDArray[np.float64]:
    """(RAYS,) distance of the outline from the axis in each direction, least or largest where it folds."""
    points = outline.points
    ahead = np.roll(points, -1, axis=0)
    steps = np.maximum(1, np.ceil(np.linalg.norm(ahead - points, axis=1) / (0.2 * _spacing(outline)))).astype(int)
    shares = np.concatenate([np.arange(count) / count for count in steps])
    which = np.repeat(np.arange(len(points)), steps)
    fine = points[which] * (1 - shares[:, None]) + ahead[which] * shares[:, None]
    bins = np.floor((arc_tangent(fine[:, 1], fine[:, 0]) + np.pi) / (2 * np.pi) * RAYS).astype(int) % RAYS
    reach = np.full(RAYS, np.inf if take is np.minimum else 0.0)
    take.at(reach, bins, np.linalg.norm(fine, axis=1))
    return reach


def _spacing(outline: Outline) -> float:
    """Distance between rays where the outline is farthest out."""
    return 2 * np.pi * float(np.linalg.norm(outline.points, axis=1).max()) / RAYS


def _side(outer: Rows, inner: Rows, shape: Spigot) -> NDArray[np.float64]:
    """(LEVELS, RAYS, 3) the spigot's side, level by level upward, in the cut's coordinates."""
    middle = np.maximum((outer + inner) / 2, outer - shape.rim) - shape.clearance / 2
    smooth = np.stack([_waves(row) for row in middle])
    step = shape.height / (LEVELS - 1)
    for level in range(1, LEVELS):  # it must never widen upward, or the collar could not be lifted off
        most = smooth[level - 1] - step * np.tan(shape.draft)
        narrowed = _waves(np.minimum(smooth[level], most))  # smoothed again, as a crease cannot keep an even gap
        smooth[level] = narrowed - max(float((narrowed - most).max()), 0.0)
    smooth[-1] -= shape.lead
    angles = (np.arange(RAYS) + 0.5) * 2 * np.pi / RAYS - np.pi
    heights = np.broadcast_to(np.linspace(0.0, shape.height, LEVELS)[:, None], smooth.shape)
    return np.stack([smooth * np.cos(angles), smooth * np.sin(angles), heights], axis=2)


def _waves(values: NDArray[np.float64]) -> NDArray[np.float64]:
    waves = np.fft.rfft(values)
    waves[HARMONICS + 1 :] = 0
    return np.fft.irfft(waves, len(values))


def _grown(side: NDArray[np.float64], distance: float) -> NDArray[np.float64]:
    """The side moved outward along its own normals, so that the gap between the two is `distance` everywhere."""
    along = np.roll(side, -1, axis=1) - np.roll(side, 1, axis=1)
    upward = np.gradient(side, axis=0)
    normals = np.cross(along, upward)
    normals /= np.linalg.norm(normals, axis=2, keepdims=True)
    grown = side + distance * normals
    grown[0] = _at_height(grown[0], grown[1], 0.0)
    grown[-1, :, 2] = side[-1, :, 2] + distance
    return grown


def _at_height(low: NDArray[np.float64], high: NDArray[np.float64], height: float) -> NDArray[np.float64]:
    """Each line from low to high, met at a height."""
    share = (height - low[:, 2]) / (high[:, 2] - low[:, 2])
    return np.asarray(low + share[:, None] * (high - low))


def _walls(
    side: NDArray[np.float64], grown: NDArray[np.float64], outlines: list[tuple[Outline, ...]], hollow: bool
) -> tuple[float, float]:
    """Least thickness left at any level in the collar, and in the spigot; negative where there is none."""
    collar = min(float(outlines[level][0].depths(grown[level, :, :2]).min()) for level in range(LEVELS))
    if not hollow:
        return collar, float(np.linalg.norm(side[0, :, :2], axis=1).min())
    spigot = min(
        float(-hole.depths(side[level, :, :2]).max()) for level in range(LEVELS) for hole in _hollows(outlines[level])
    )
    return collar, spigot


def opening_of(outlines: list[tuple[Outline, ...]]) -> float:
    """Width of the largest ball that passes the narrowest of these sections of a hollow part; 0 where it is solid."""
    widths = []
    for level in outlines:
        holes = [Outline(outline.points[::-1]) for outline in level if outline.area < 0]
        widths.append(max((2 * float(hole.depths(deepest((hole,))[None])[0]) for hole in holes), default=0.0))
    return min(widths)
