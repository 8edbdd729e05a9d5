"""Passes of one head brought together: turned and moved until their skins meet."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

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
    targets = _Targets(passes)
    given = [None] * len(passes) if starts is None else starts
    order = sorted(range(1, len(passes)), key=lambda number: given[number] is None)
    for count, number in enumerate(order, start=1):
        progress(0.6 * count / len(passes), f"placing pass {number + 1} of {len(passes)}")
        rest = targets.rest(moves, [0, *order[: count - 1]])
        start = given[number]
        if start is None:
            moves[number] = _placed(passes[number], rest, grids, search)
        else:
            moves[number] = _refined(passes[number], rest, start, grids)
    belonging = list(range(len(passes)))
    while True:
        moves = _relaxed(passes, targets, moves, belonging, grids[2], progress)
        fits = [_judged(number, passes[number], targets, moves, belonging, grids[2]) for number in range(len(passes))]
        odd = _odd_one(passes, targets, moves, belonging, fits, grids[2])
        if odd is None:
            return fits
        belonging.remove(odd)


_ROUNDS = 6
_ODD = 3.0  # a pass with so many times the RMS of the others among themselves does not belong (ours, by trial)


def _spacing(points: NDArray[np.float64]) -> float:
    chosen = points[:: max(1, len(points) // 1000)]
    distances, _ = cKDTree(points).query(chosen, 9, workers=-1)
    return float(np.median(distances[:, -1])) * float(np.sqrt(np.pi / 8.5))


class _Rest:
    """Passes as they lie, put together: their points, and a target of them for each size of grid that is asked for."""

    def __init__(self, passes: list[NDArray[np.float64]]) -> None:
        self._passes = passes
        self._made: dict[float, Target] = {}

    @cached_property
    def points(self) -> NDArray[np.float64]:
        """(n, 3) all their points, mm."""
        return np.concatenate(self._passes)

    def target(self, size: float) -> Target:
        """The points thinned to such cells."""
        if size not in self._made:
            self._made[size] = Target(self.points, size)
        return self._made[size]


class _Targets:
    """What passes are laid on: the last few are kept, for as long as their passes lie still they serve again."""

    def __init__(self, passes: Sequence[NDArray[np.float64]]) -> None:
        self._passes = passes
        self._kept: dict[tuple[tuple[int, bytes], ...], _Rest] = {}

    def rest(self, moves: list[NDArray[np.float64]], numbers: list[int]) -> _Rest:
        """These passes as they lie."""
        key = tuple((number, moves[number].tobytes()) for number in sorted(numbers))
        found = self._kept.pop(key, None)
        if found is None:
            found = _Rest([applied(moves[number], self._passes[number]) for number, _ in key])
        self._kept[key] = found  # the latest last
        if len(self._kept) > len(self._passes):
            del self._kept[next(iter(self._kept))]
        return found


def _placed(
    points: NDArray[np.float64], rest: _Rest, grids: tuple[float, float, float], search: bool
) -> NDArray[np.float64]:
    """The move of a pass onto those placed, from where it lies or from the best of many turned starts."""
    coarse = rest.target(grids[0])
    few = thinned(points, grids[0]).points
    reach = 0.25 * float(np.ptp(points, axis=0).max())
    best = aligned(few, coarse, np.eye(4), reach, 25)
    if search:
        found = [aligned(few, coarse, start, reach, 25) for start in _turned_starts(points, rest.points)]
        found.sort(key=lambda matrix: -_coarse_worth(few, coarse, matrix, grids[0]))
        best = _best_meeting(points, rest.target(grids[1]), [best, *found[:_TRIED_FINELY]], grids[1])
    return _refined(points, rest, best, grids[1:])


def _refined(
    points: NDArray[np.float64], rest: _Rest, start: NDArray[np.float64], grids: tuple[float, ...]
) -> NDArray[np.float64]:
    """The move aligned on finer and finer grids."""
    for size in grids:
        start = aligned(points, rest.target(size), start, 4 * size, 30)
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
    targets: _Targets,
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
            rest = targets.rest(moves, [k for k in belonging if k != number])
            better = aligned(passes[number], rest.target(size), moves[number], 2 * size, 15)
            shifts.append(float(np.abs(better[:3, 3] - moves[number][:3, 3]).max()))
            moves[number] = better
        if max(shifts) < 1e-4:
            break
    return moves


def _judged(
    number: int,
    points: NDArray[np.float64],
    targets: _Targets,
    moves: list[NDArray[np.float64]],
    belonging: list[int],
    size: float,
) -> Fit:
    """Overlap and RMS of a pass against the others that belong: distances to the planes of their nearest points."""
    target = targets.rest(moves, [k for k in belonging if k != number]).target(size)
    own = points[:: max(1, len(points) // 20_000)]
    overlap, rms = meeting(applied(moves[number], own), target, size)
    return Fit(moves[number], overlap, rms, number in belonging)


def _odd_one(
    passes: Sequence[NDArray[np.float64]],
    targets: _Targets,
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
    among = [_judged(number, passes[number], targets, moves, others, size).rms for number in others]
    return worst if fits[worst].rms > _ODD * float(np.median(among)) else None
