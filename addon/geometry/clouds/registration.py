"""Passes of one head brought together: turned and moved until their skins meet."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

from ..errors import NotPossible
from ..neighbours import BY_THE_EIGHTH
from ..portions import from_portions
from ..progress import SILENT, Progress
from ..transforms import applied, transform
from .aligning import Skin, Target, aligned, meeting


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
    Point-to-plane alignment (`transforms.towards_planes`) with the farther pairs trimmed, between means of the points
    in small cells, which lie closer to the surface than the points and are fewer, first pass by pass onto those already
    placed, then all of them in turn onto all the others until none moves. A pass that does not belong is then laid on
    the others, but the others no longer on it.
    """
    if len(passes) < 2:
        raise NotPossible("there is one pass only: give the others too")
    spacing = max(_spacing(points) for points in passes)
    cell = spacing * max(0.5, float(np.sqrt(max(map(len, passes)) / _CELLS)))
    fine = max(1.5 * spacing, cell)
    grids = (max(8 * spacing, 2 * fine), max(3 * spacing, fine))
    skins = _Skins(passes, cell)
    moves = [np.eye(4) for _ in passes]
    given = [None] * len(passes) if starts is None else starts
    order = sorted(range(1, len(passes)), key=lambda number: given[number] is None)
    for count, number in enumerate(order, start=1):
        progress(0.6 * count / len(passes), f"placing pass {number + 1} of {len(passes)}")
        rest = _Rest(skins.target(moves, [0, *order[: count - 1]]))
        start = given[number]
        if start is None:
            moves[number] = _placed(skins.points(number), rest, grids, search)
        else:
            start = aligned(skins.points(number), rest.target(grids[0]), start, 4 * grids[0], 30)
            moves[number] = aligned(skins.points(number), rest.fine, start, 4 * grids[1], 30)
    belonging = list(range(len(passes)))
    while True:
        moves = _relaxed(skins, moves, belonging, fine, progress)
        fits = [_judged(number, skins, moves, belonging, fine) for number in range(len(passes))]
        odd = _odd_one(skins, moves, belonging, fits, fine)
        if odd is None:
            return fits
        belonging.remove(odd)


_ROUNDS = 6
_ODD = 3.0  # a pass with so many times the RMS of the others among themselves does not belong (ours, by trial)
_CELLS = 200_000  # cells a pass is put into, about: so many at most, and a pass of fewer points keeps nearly all
_LISTENED = 100_000  # points of a pass that the last alignment listens to: noise goes with the root of their number
_ASKED = 20_000  # points of a pass that tell its spacing, or how it lies on the others


def _spacing(points: NDArray[np.float64]) -> float:
    """How far apart the points of a pass lie, mm: of some picked at random, who lie wider by the root of the share."""
    share = 1.0
    if len(points) > _ASKED:
        picked = np.unique(np.random.default_rng(0).integers(0, len(points), _ASKED))
        share = len(picked) / len(points)
        points = points[picked]
    distances, _ = cKDTree(points, balanced_tree=False).query(points[:: max(1, len(points) // 1000)], 9, workers=-1)
    return float(np.median(distances[:, -1])) * float(np.sqrt(share)) * BY_THE_EIGHTH


class _Skins:
    """Every pass as a skin in cells of one size."""

    def __init__(self, passes: Sequence[NDArray[np.float64]], size: float) -> None:
        self._skins = from_portions(len(passes), 1, lambda part: Skin(passes[part.start], size))

    def points(self, number: int) -> NDArray[np.float64]:
        """(n, 3) the points of one where it was captured, mm."""
        return self._skins[number].points

    def target(self, moves: list[NDArray[np.float64]], numbers: list[int]) -> Target:
        """These passes as they lie, to align to."""
        return Target([self._skins[number] for number in numbers], [moves[number] for number in numbers])


class _Rest:
    """The passes placed so far: as they are, and as one skin in wider cells."""

    def __init__(self, fine: Target) -> None:
        self.fine, self.points = fine, fine.points
        self._made: dict[float, Target] = {}

    def target(self, size: float) -> Target:
        """The points in such cells."""
        if size not in self._made:
            self._made[size] = Target([Skin(self.points, size)], [np.eye(4)])
        return self._made[size]


def _placed(points: NDArray[np.float64], rest: _Rest, grids: tuple[float, float], search: bool) -> NDArray[np.float64]:
    """The move of a pass onto those placed, from where it lies or from the best of many turned starts."""
    coarse = rest.target(grids[0])
    few = Skin(points, grids[0]).points
    reach = 0.25 * float(np.ptp(points, axis=0).max())
    best = aligned(few, coarse, np.eye(4), reach, 25)
    if search:
        found = [aligned(few, coarse, start, reach, 25) for start in _turned_starts(points, rest.points)]
        found.sort(key=lambda matrix: -_coarse_worth(few, coarse, matrix, grids[0]))
        best = _best_meeting(points, rest.target(grids[1]), [best, *found[:_TRIED_FINELY]], grids[1])
    return aligned(points, rest.fine, best, 4 * grids[1], 30)


_TRIED_FINELY = 8


def _turned_starts(points: NDArray[np.float64], rest: NDArray[np.float64]) -> list[NDArray[np.float64]]:
    """The cube's 24 turns, and each spun by 45 degrees, middle on middle."""
    middle, there = points.mean(axis=0), rest.mean(axis=0)
    starts = []
    for turn in Rotation.from_matrix(Rotation.create_group("O").as_matrix()):
        for spin in (Rotation.identity(), Rotation.from_euler("z", 45, degrees=True)):
            turned = (turn * spin).as_matrix()
            starts.append(transform(turned, there - turned @ middle))
    return starts


def _coarse_worth(few: NDArray[np.float64], coarse: Target, matrix: NDArray[np.float64], size: float) -> float:
    """Share of the points that meet, less a part of how far they are apart."""
    apart = coarse.nearest(applied(matrix, few))[0]
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
    skins: _Skins, moves: list[NDArray[np.float64]], belonging: list[int], size: float, progress: Progress
) -> list[NDArray[np.float64]]:
    """The moves after each pass but the first was laid on all others that belong, in turn, until none moves."""
    moves = list(moves)
    for turn in range(_ROUNDS):
        progress(0.6 + 0.4 * turn / _ROUNDS, "relaxing all passes together")
        shifts = []
        for number in range(1, len(moves)):
            rest = skins.target(moves, [k for k in belonging if k != number])
            better = aligned(skins.points(number), rest, moves[number], 2 * size, 15, _LISTENED, 0.8)
            shifts.append(float(np.abs(better[:3, 3] - moves[number][:3, 3]).max()))
            moves[number] = better
        if max(shifts) < 1e-4 or len(shifts) == 1:  # of two passes one has been laid, and the other lies still
            break
    return moves


def _judged(number: int, skins: _Skins, moves: list[NDArray[np.float64]], belonging: list[int], size: float) -> Fit:
    """Overlap and RMS of a pass against the others that belong: distances to the planes of their nearest points."""
    target = skins.target(moves, [k for k in belonging if k != number])
    points = skins.points(number)
    overlap, rms = meeting(applied(moves[number], points[:: max(1, len(points) // _ASKED)]), target, size)
    return Fit(moves[number], overlap, rms, number in belonging)


def _odd_one(
    skins: _Skins, moves: list[NDArray[np.float64]], belonging: list[int], fits: list[Fit], size: float
) -> int | None:
    """The pass that does not belong, if there is one; of two passes alone it cannot be told which."""
    if len(belonging) < 3:
        return None
    worst = max(belonging, key=lambda number: fits[number].rms)
    others = [number for number in belonging if number != worst]
    if fits[worst].rms <= 1.5 * float(np.median([fits[number].rms for number in others])):
        return None  # as good as the rest: no need to look closer
    among = [_judged(number, skins, moves, others, size).rms for number in others]
    return worst if fits[worst].rms > _ODD * float(np.median(among)) else None
