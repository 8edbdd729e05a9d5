"""Passes of one head brought together: turned and moved until their skins meet."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

from .errors import NotPossible
from .neighbours import arranged
from .normals import plane_normals
from .progress import SILENT, Progress
from .thinning import thinned
from .transforms import applied


@dataclass(frozen=True, eq=False)
class Fit:
    """How one pass lies on the others: its (4, 4) move, the share of it that meets them, and the RMS there, mm."""

    matrix: NDArray[np.float64]
    overlap: float
    rms: float


def registered(passes: list[NDArray[np.float64]], search: bool = True, progress: Progress = SILENT) -> list[Fit]:
    """The move of each pass that brings it onto the rest; the first stays where it is.

    Parameters
    ----------
    passes : (n, 3) float arrays, millimetres, strays removed
    search : also try turned starts for a pass that does not meet the rest as it lies; else only fine alignment
    progress : told how far the work is

    Raises
    ------
    NotPossible
        There are fewer than two passes.

    Notes
    -----
    Point-to-plane alignment (Chen and Medioni 1992, doi 10.1016/0262-8856(92)90066-C) with the farther pairs trimmed,
    first pass by pass onto those already placed, then all of them in turn onto all the others until none moves.
    """
    if len(passes) < 2:
        raise NotPossible("there is one pass only: give the others too")
    spacing = max(_spacing(points) for points in passes)
    grids = (8 * spacing, 3 * spacing, 1.5 * spacing)
    moves = [np.eye(4) for _ in passes]
    for number in range(1, len(passes)):
        progress(0.6 * number / len(passes), f"placing pass {number + 1} of {len(passes)}")
        rest = np.concatenate([applied(moves[k], passes[k]) for k in range(number)])
        moves[number] = _placed(passes[number], rest, grids, search)
    for turn in range(_ROUNDS):
        progress(0.6 + 0.4 * turn / _ROUNDS, "relaxing all passes together")
        shifts = []
        for number in range(1, len(passes)):
            rest = np.concatenate([applied(moves[k], passes[k]) for k in range(len(passes)) if k != number])
            better = _aligned(passes[number], _Target(rest, grids[2]), moves[number], 2 * grids[2], 15)
            shifts.append(float(np.abs(better[:3, 3] - moves[number][:3, 3]).max()))
            moves[number] = better
        if max(shifts) < 1e-4:
            break
    return [_judged(number, passes, moves, grids[2]) for number in range(len(passes))]


_ROUNDS = 6
_TRIM = 0.7  # share of the pairs in reach, the nearest, that an alignment step listens to


class _Target:
    """A thinned cloud with normals, to align to."""

    def __init__(self, points: NDArray[np.float64], size: float) -> None:
        held = arranged(thinned(points, size).points)
        self.points = held.points
        self.normals, self.variation = plane_normals(held, min(16, len(held.points) - 1))
        self.tree = cKDTree(held.points)


def _spacing(points: NDArray[np.float64]) -> float:
    chosen = points[:: max(1, len(points) // 1000)]
    distances, _ = cKDTree(points).query(chosen, 9, workers=-1)
    return float(np.median(distances[:, -1])) * float(np.sqrt(np.pi / 8.5))


def _placed(
    points: NDArray[np.float64], rest: NDArray[np.float64], grids: tuple[float, float, float], search: bool
) -> NDArray[np.float64]:
    """The move of a pass onto those placed, from where it lies or from the best of many turned starts."""
    coarse = _Target(rest, grids[0])
    few = thinned(points, grids[0]).points
    reach = 0.25 * float(np.ptp(points, axis=0).max())
    best = _aligned(few, coarse, np.eye(4), reach, 25)
    if search:
        found = [_aligned(few, coarse, start, reach, 25) for start in _turned_starts(points, rest)]
        found.sort(key=lambda matrix: -_coarse_worth(few, coarse, matrix, grids[0]))
        best = _best_meeting(points, _Target(rest, grids[1]), [best, *found[:_TRIED_FINELY]], grids[1])
    for size in grids[1:]:
        best = _aligned(points, _Target(rest, size), best, 4 * size, 30)
    return best


_TRIED_FINELY = 8


def _turned_starts(points: NDArray[np.float64], rest: NDArray[np.float64]) -> list[NDArray[np.float64]]:
    """The cube's 24 turns, and each spun by 45 degrees, middle on middle."""
    middle, there = points.mean(axis=0), rest.mean(axis=0)
    starts = []
    for turn in Rotation.from_matrix(Rotation.create_group("O").as_matrix()):
        for spin in (Rotation.identity(), Rotation.from_euler("z", 45, degrees=True)):
            matrix = np.eye(4)
            matrix[:3, :3] = (turn * spin).as_matrix()
            matrix[:3, 3] = there - matrix[:3, :3] @ middle
            starts.append(matrix)
    return starts


def _coarse_worth(few: NDArray[np.float64], coarse: _Target, matrix: NDArray[np.float64], size: float) -> float:
    """Share of the points that meet, less a part of how far they are apart."""
    apart = coarse.tree.query(applied(matrix, few), workers=-1)[0]
    return float((apart < size).mean()) - 0.2 * float(np.sqrt((np.minimum(apart, size) ** 2).mean())) / size


def _best_meeting(
    points: NDArray[np.float64], target: _Target, moves: list[NDArray[np.float64]], size: float
) -> NDArray[np.float64]:
    """The move whose skins meet closest, for its overlap; the first one wins a near draw.

    Overlap alone would lay the back of a head on its face, where more of it has a neighbour: the passes meet where
    their distance across the skin is small, which only a finer look tells.
    """
    some = points[:: max(1, len(points) // 5000)]
    best, least = moves[0], np.inf
    for move in moves:
        found = _aligned(some, target, move, 4 * size, 20)
        overlap, rms = _meeting(applied(found, some), target, size)
        gap = rms / max(overlap, 0.02)
        if gap < 0.8 * least:
            best, least = found, gap
    return best


def _meeting(moved: NDArray[np.float64], target: _Target, size: float) -> tuple[float, float]:
    """Share of the points in reach of the target, and the RMS of their distances to its planes there."""
    apart, rows = target.tree.query(moved, distance_upper_bound=2 * size, workers=-1)
    met = np.isfinite(apart)
    if not met.any():
        return 0.0, float("inf")
    off = np.einsum("ij,ij->i", moved[met] - target.points[rows[met]], target.normals[rows[met]])
    return float(met.mean()), float(np.sqrt((off**2).mean()))


def _aligned(
    points: NDArray[np.float64], target: _Target, start: NDArray[np.float64], reach: float, rounds: int
) -> NDArray[np.float64]:
    """Trimmed point-to-plane steps from a start; the reach of a pair shrinks with the distances found."""
    points = points[:: max(1, len(points) // 20_000)]
    matrix = start.copy()
    for _ in range(rounds):
        moved = applied(matrix, points)
        apart, rows = target.tree.query(moved, distance_upper_bound=reach, workers=-1)
        met = np.flatnonzero(np.isfinite(apart))
        if len(met) < 20:
            break
        near = met[np.argsort(apart[met], kind="stable")[: max(20, int(_TRIM * len(met)))]]
        normal, place = target.normals[rows[near]], moved[near]
        middle = place.mean(axis=0)
        levers = np.concatenate([np.cross(place - middle, normal), normal], axis=1)
        wanted = np.einsum("ij,ij->i", target.points[rows[near]] - place, normal)
        motion = np.linalg.lstsq(levers.T @ levers + 1e-9 * np.eye(6), levers.T @ wanted, rcond=None)[0]
        step = np.eye(4)
        step[:3, :3] = Rotation.from_rotvec(motion[:3]).as_matrix()
        step[:3, 3] = middle + motion[3:] - step[:3, :3] @ middle
        matrix = step @ matrix
        if np.abs(motion[3:]).max() < 1e-6 and np.abs(motion[:3]).max() < 1e-8:
            break
        reach = max(min(reach, 6 * float(np.median(apart[near]))), 1e-3 * reach)
    return matrix


def _judged(number: int, passes: list[NDArray[np.float64]], moves: list[NDArray[np.float64]], size: float) -> Fit:
    """Overlap and RMS of a pass against all the others: distances to the planes of their nearest points."""
    rest = np.concatenate([applied(moves[k], passes[k]) for k in range(len(passes)) if k != number])
    target = _Target(rest, size)
    own = passes[number][:: max(1, len(passes[number]) // 20_000)]
    overlap, rms = _meeting(applied(moves[number], own), target, size)
    return Fit(moves[number], overlap, rms)
