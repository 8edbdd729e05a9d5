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
    starts = [np.eye(4)]
    if search:
        turns = Rotation.from_matrix(Rotation.create_group("O").as_matrix())  # the cube's 24 turns, 90 degrees apart
        spins = [Rotation.identity(), Rotation.from_euler("z", 45, degrees=True)]
        middle, there = points.mean(axis=0), rest.mean(axis=0)
        for turn in turns:
            for spin in spins:
                matrix = np.eye(4)
                matrix[:3, :3] = (turn * spin).as_matrix()
                matrix[:3, 3] = there - matrix[:3, :3] @ middle
                starts.append(matrix)
    size = float(np.ptp(points, axis=0).max())
    best, worth = np.eye(4), -np.inf
    for matrix in starts:
        found = _aligned(few, coarse, matrix, 0.25 * size, 25)
        apart = coarse.tree.query(applied(found, few), workers=-1)[0]
        share = float((apart < grids[0]).mean())
        value = share - 0.2 * float(np.sqrt((np.minimum(apart, grids[0]) ** 2).mean())) / grids[0]
        if value > worth + 0.02:  # the pass as it lies is the first start: it wins a near draw
            best, worth = found, value
    for size in grids[1:]:
        best = _aligned(points, _Target(rest, size), best, 4 * size, 30)
    return best


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
    moved = applied(moves[number], own)
    apart, rows = target.tree.query(moved, distance_upper_bound=2 * size, workers=-1)
    met = np.isfinite(apart)
    if not met.any():
        return Fit(moves[number], 0.0, float("inf"))
    off = np.einsum("ij,ij->i", moved[met] - target.points[rows[met]], target.normals[rows[met]])
    return Fit(moves[number], float(met.mean()), float(np.sqrt((off**2).mean())))
