"""Passes of one head brought together: turned and moved until their skins meet."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

from .aligning import Target, aligned, meeting
from .errors import NotPossible
from .progress import SILENT, Progress
from .thinning import thinned
from .transforms import applied


@dataclass(frozen=True, eq=False)
class Fit:
    """How one pass lies on the others: its (4, 4) move, the share of it that meets them, and the RMS there, mm.

    `belongs` is false for a pass whose RMS is out of all proportion to that of the others among themselves.
    """

    matrix: NDArray[np.float64]
    overlap: float
    rms: float
    belongs: bool = True


def registered(
    passes: Sequence[NDArray[np.float64]],
    search: bool = True,
    progress: Progress = SILENT,
    starts: Sequence[NDArray[np.float64] | None] | None = None,
) -> list[Fit]:
    """The move of each pass that brings it onto the rest; the first stays where it is.

    Parameters
    ----------
    passes : (n, 3) float arrays, millimetres, strays removed
    search : also try turned starts for a pass that does not meet the rest as it lies; else only fine alignment
    progress : told how far the work is
    starts : a (4, 4) coarse move a pass, from points marked in them; a pass with None, or all, is placed by its form

    Raises
    ------
    NotPossible
        There are fewer than two passes.

    Notes
    -----
    Point-to-plane alignment (Chen and Medioni 1992, doi 10.1016/0262-8856(92)90066-C) with the farther pairs trimmed,
    first pass by pass onto those already placed, then all of them in turn onto all the others until none moves. A pass
    that does not belong is then laid on the others, but the others no longer on it.
    """
    if len(passes) < 2:
        raise NotPossible("there is one pass only: give the others too")
    spacing = max(_spacing(points) for points in passes)
    grids = (8 * spacing, 3 * spacing, 1.5 * spacing)
    moves = [np.eye(4) for _ in passes]
    given = [None] * len(passes) if starts is None else starts
    order = sorted(range(1, len(passes)), key=lambda number: given[number] is None)
    for count, number in enumerate(order, start=1):
        progress(0.6 * count / len(passes), f"placing pass {number + 1} of {len(passes)}")
        rest = np.concatenate([applied(moves[k], passes[k]) for k in (0, *order[: count - 1])])
        start = given[number]
        if start is None:
            moves[number] = _placed(passes[number], rest, grids, search)
        else:
            moves[number] = _refined(passes[number], rest, start, grids)
    belonging = list(range(len(passes)))
    while True:
        moves = _relaxed(passes, moves, belonging, grids[2], progress)
        fits = [_judged(number, passes, moves, belonging, grids[2]) for number in range(len(passes))]
        odd = _odd_one(passes, moves, belonging, fits, grids[2])
        if odd is None:
            return fits
        belonging.remove(odd)


_ROUNDS = 6
_ODD = 3.0  # a pass with so many times the RMS of the others among themselves does not belong (ours, by trial)


def _spacing(points: NDArray[np.float64]) -> float:
    chosen = points[:: max(1, len(points) // 1000)]
    distances, _ = cKDTree(points).query(chosen, 9, workers=-1)
    return float(np.median(distances[:, -1])) * float(np.sqrt(np.pi / 8.5))


def _placed(
    points: NDArray[np.float64], rest: NDArray[np.float64], grids: tuple[float, float, float], search: bool
) -> NDArray[np.float64]:
    """The move of a pass onto those placed, from where it lies or from the best of many turned starts."""
    coarse = Target(rest, grids[0])
    few = thinned(points, grids[0]).points
    reach = 0.25 * float(np.ptp(points, axis=0).max())
    best = aligned(few, coarse, np.eye(4), reach, 25)
    if search:
        found = [aligned(few, coarse, start, reach, 25) for start in _turned_starts(points, rest)]
        found.sort(key=lambda matrix: -_coarse_worth(few, coarse, matrix, grids[0]))
        best = _best_meeting(points, Target(rest, grids[1]), [best, *found[:_TRIED_FINELY]], grids[1])
    return _refined(points, rest, best, grids[1:])


def _refined(
    points: NDArray[np.float64], rest: NDArray[np.float64], start: NDArray[np.float64], grids: tuple[float, ...]
) -> NDArray[np.float64]:
    """The move aligned on finer and finer grids."""
    for size in grids:
        start = aligned(points, Target(rest, size), start, 4 * size, 30)
    return start


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


def _coarse_worth(few: NDArray[np.float64], coarse: Target, matrix: NDArray[np.float64], size: float) -> float:
    """Share of the points that meet, less a part of how far they are apart."""
    apart = coarse.tree.query(applied(matrix, few), workers=-1)[0]
    return float((apart < size).mean()) - 0.2 * float(np.sqrt((np.minimum(apart, size) ** 2).mean())) / size


def _best_meeting(
    points: NDArray[np.float64], target: Target, moves: list[NDArray[np.float64]], size: float
) -> NDArray[np.float64]:
    """The move whose skins meet closest, for its overlap; the first one wins a near draw.

    Overlap alone would lay the back of a head on its face, where more of it has a neighbour: the passes meet where
    their distance across the skin is small, which only a finer look tells.
    """
    some = points[:: max(1, len(points) // 5000)]
    best, least = moves[0], np.inf
    for move in moves:
        found = aligned(some, target, move, 4 * size, 20)
        overlap, rms = meeting(applied(found, some), target, size)
        gap = rms / max(overlap, 0.02)
        if gap < 0.8 * least:
            best, least = found, gap
    return best


def _relaxed(
    passes: Sequence[NDArray[np.float64]],
    moves: list[NDArray[np.float64]],
    belonging: list[int],
    size: float,
    progress: Progress,
) -> list[NDArray[np.float64]]:
    """The moves after each pass but the first was laid on all others that belong, in turn, until none moves."""
    moves = list(moves)
    for turn in range(_ROUNDS):
        progress(0.6 + 0.4 * turn / _ROUNDS, "relaxing all passes together")
        shifts = []
        for number in range(1, len(passes)):
            rest = _rest(number, passes, moves, belonging)
            better = aligned(passes[number], Target(rest, size), moves[number], 2 * size, 15)
            shifts.append(float(np.abs(better[:3, 3] - moves[number][:3, 3]).max()))
            moves[number] = better
        if max(shifts) < 1e-4:
            break
    return moves


def _rest(
    number: int, passes: Sequence[NDArray[np.float64]], moves: list[NDArray[np.float64]], belonging: list[int]
) -> NDArray[np.float64]:
    """All passes that belong, as they lie, but this one."""
    return np.concatenate([applied(moves[k], passes[k]) for k in belonging if k != number])


def _judged(
    number: int,
    passes: Sequence[NDArray[np.float64]],
    moves: list[NDArray[np.float64]],
    belonging: list[int],
    size: float,
) -> Fit:
    """Overlap and RMS of a pass against the others that belong: distances to the planes of their nearest points."""
    target = Target(_rest(number, passes, moves, belonging), size)
    own = passes[number][:: max(1, len(passes[number]) // 20_000)]
    overlap, rms = meeting(applied(moves[number], own), target, size)
    return Fit(moves[number], overlap, rms, number in belonging)


def _odd_one(
    passes: Sequence[NDArray[np.float64]],
    moves: list[NDArray[np.float64]],
    belonging: list[int],
    fits: list[Fit],
    size: float,
) -> int | None:
    """The pass that does not belong, if there is one; of two passes alone it cannot be told which."""
    if len(belonging) < 3:
        return None
    worst = max(belonging, key=lambda number: fits[number].rms)
    others = [number for number in belonging if number != worst]
    if fits[worst].rms <= 1.5 * float(np.median([fits[number].rms for number in others])):
        return None  # as good as the rest: no need to look closer
    among = [_judged(number, passes, moves, others, size).rms for number in others]
    return worst if fits[worst].rms > _ODD * float(np.median(among)) else None
