"""Two skins where there should be one: found, measured, and the misplaced one laid back onto the other."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..clouds.normals import normals_through
from ..directions import unit
from ..neighbours import Arranged, arranged
from ..progress import SILENT, Progress
from ..robust import robust_deviation
from .laying import Piece, joined, laid_down
from .pass_offsets import passes_met
from .twin_sheets import Sites, twin_sheets


@dataclass(frozen=True, eq=False)
class Layer:
    """One second skin: how far off it lay (median, millimetres), its number of points, and its middle."""

    offset: float
    points: int
    middle: NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Merged:
    """The cloud with its second skins laid down, which points were moved, and what was found."""

    points: NDArray[np.float64]
    moved: NDArray[np.bool_]
    layers: tuple[Layer, ...]
    noise: float


def merged_layers(
    points: NDArray[np.float64],
    widest: float = 1.2,
    view: NDArray[np.integer[Any]] | None = None,
    progress: Progress = SILENT,
) -> Merged:
    """Find skins that lie over each other and bring them to one.

    Parameters
    ----------
    points : (n, 3) float array, millimetres, strays removed
    widest : the widest gap between two skins that is looked for, millimetres; the far side of a lid is farther
    view : (n,) which pass saw each point, where it is known
    progress : told how far the work is

    Notes
    -----
    Known passes are laid onto each other first (`pass_offsets`). Then the cloud alone is asked: areas that lie in two
    parallel sheets all over (`twin_sheets`) are judged as a whole: the skin that goes on beyond the area's border is
    the body's, the other was misplaced. That one is moved as a rigid piece first, so that its creases come to lie on
    the body's, and what remains is taken up along the normals. The method is ours; no published one was followed.
    """
    places, owner = points.copy(), np.full(len(points), -1)
    if view is not None:
        places, owner = passes_met(points, view, widest, progress.stretch(0, 0.2))
    noise = 0.0
    for turn in range(_TURNS):  # with one skin laid down, what it hid is seen
        part = progress.stretch(0.2 + 0.8 * turn / _TURNS, 0.2 + 0.8 * (turn + 1) / _TURNS)
        pieces, noise = _second_skins(places, widest, part)
        for wrong, there in pieces:
            known = owner[wrong]
            new = np.bincount(known[known >= 0]).argmax() if (known >= 0).mean() > 0.2 else owner.max() + 1
            owner[wrong[known < 0]] = new
            places[wrong] = there
        if not pieces:
            break
    move = np.linalg.norm(places - points, axis=1)
    layers = []
    for number in np.unique(owner[owner >= 0]).tolist():
        mine = owner == number
        layers.append(Layer(float(np.median(move[mine])), int(mine.sum()), points[mine].mean(axis=0)))
    progress(1.0, "laid the second skins down")
    return Merged(places, owner >= 0, tuple(layers), noise)


_TURNS = 2


def _second_skins(
    points: NDArray[np.float64], widest: float, progress: Progress
) -> tuple[list[tuple[NDArray[np.int64], NDArray[np.float64]]], float]:
    """Rows of the points of each misplaced skin and where they belong, and the noise; one look at the cloud."""
    held = arranged(points)
    if len(held.points) < _FEWEST:
        return [], 0.0
    sites = twin_sheets(held, widest, progress.stretch(0, 0.6))
    pieces = [_misplaced(sites, region) for region in sites.regions()]
    found = []
    for piece in joined(held.points, pieces, sites.noise):
        progress(0.7, "laying a second skin onto the first")
        wrong, there = laid_down(held, piece, sites.noise)
        if float(np.median(np.linalg.norm(there - held.points[wrong], axis=1))) > _TOO_FAR * widest:
            continue  # a motion along the skin, by a few steep places: nothing lay that far off
        places = np.full(held.points.shape, np.nan)
        places[wrong] = there
        mine = np.flatnonzero(np.isfinite(places[held.back, 0]))
        found.append((mine, places[held.back[mine]]))
    return found, sites.noise


_TOO_FAR = 1.5  # of the widest gap: a skin pushed aside as much as off goes farther than its gap
_FEWEST = 500  # points under which nothing can be told


def _misplaced(sites: Sites, region: NDArray[np.int64]) -> Piece:
    """The points of a region's misplaced sheet, and their way to the other."""
    side = 1.0 if sites.upper_ends(region) else -1.0
    times, votes = sites.votes(region)
    wrong = np.flatnonzero(side * votes > 0)
    normals = unit(np.stack([sites.means(region, sites.normals[region, axis])[wrong] for axis in range(3)], axis=1))
    gap = -side * sites.means(region, sites.gap[region])[wrong]
    return Piece(wrong, normals, gap, np.flatnonzero((times > 0) & (side * votes <= 0)))


def spread(points: NDArray[np.float64], neighbours: int = 24) -> float:
    """How thick the skin is: robust deviation of the neighbours' heights over their planes, millimetres."""
    held: Arranged = arranged(points)
    chosen = held.points[:: max(1, len(held.points) // 20_000)]
    _, rows = held.tree.query(chosen, min(neighbours + 1, len(held.points)), workers=-1)
    normals, _ = normals_through(held.points, rows)
    heights = np.einsum("mki,mi->mk", held.points[rows[:, 1:]] - chosen[:, None], normals)
    heights -= heights.mean(axis=1, keepdims=True)
    return robust_deviation(heights)
