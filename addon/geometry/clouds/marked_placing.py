"""Passes placed on each other by points that were marked in them."""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from ..errors import BadCloud, NotPossible
from ..transforms import applied, matched

Marks = Mapping[str, NDArray[np.float64]]
"""The points marked in one pass: name to (3,) place, mm."""


def placed_by_marks(marks: Sequence[Marks]) -> list[NDArray[np.float64] | None]:
    """The move of each pass that lays its marked points on those of the passes placed before it.

    Parameters
    ----------
    marks : the points marked in each pass; one seen in several passes has one name

    Returns
    -------
    One (4, 4) rigid move a pass, that of the first being nothing; None for a pass without any marked point.

    Raises
    ------
    NotPossible
        Nothing is marked in the first pass, or a pass shares fewer than three points with those placed, or all on a
        line; it is named, counted from 1.

    Notes
    -----
    The pass that shares most points with those placed comes next, so that passes may be linked one to another round
    the head. Where a point lies on those placed is its mean in them.
    """
    if not marks or not marks[0]:
        raise NotPossible("no point is marked in pass 1, on which the others are placed: mark three or more there")
    moves: list[NDArray[np.float64] | None] = [np.eye(4), *[None] * (len(marks) - 1)]
    left = [number for number in range(1, len(marks)) if marks[number]]
    while left:
        standing = _standing(marks, moves)
        number = max(left, key=lambda each: (len(marks[each].keys() & standing.keys()), -each))
        shared = sorted(marks[number].keys() & standing.keys())
        if len(shared) < 3:
            raise NotPossible(
                f"pass {number + 1} shares {len(shared)} marked points with those placed before it: mark three or more"
            )
        try:
            moves[number] = matched(_rows(marks[number], shared), _rows(standing, shared))
        except BadCloud as fault:
            raise NotPossible(f"pass {number + 1}: {fault}") from fault
        left.remove(number)
    return moves


def marks_apart(
    marks: Sequence[Marks], moves: Sequence[NDArray[np.float64]], belonging: Sequence[int]
) -> list[float | None]:
    """RMS distance, mm, of each pass's marked points from where the others have them; None where none is shared.

    Parameters
    ----------
    marks : as in `placed_by_marks`
    moves : (4, 4) move of each pass
    belonging : passes that say where a point lies
    """
    found: list[float | None] = []
    for number, (own, move) in enumerate(zip(marks, moves, strict=True)):
        others = _standing(marks, [moves[k] if k != number and k in belonging else None for k in range(len(moves))])
        shared = sorted(own.keys() & others.keys())
        if not shared:
            found.append(None)
            continue
        apart = np.linalg.norm(applied(move, _rows(own, shared)) - _rows(others, shared), axis=1)
        found.append(float(np.sqrt((apart**2).mean())))
    return found


def _standing(marks: Sequence[Marks], moves: Sequence[NDArray[np.float64] | None]) -> dict[str, NDArray[np.float64]]:
    """Where each marked point lies on the passes that have a move: its mean in them."""
    places: dict[str, list[NDArray[np.float64]]] = {}
    for own, move in zip(marks, moves, strict=True):
        if move is not None:
            for name, place in own.items():
                places.setdefault(name, []).append(applied(move, place))
    return {name: np.mean(each, axis=0) for name, each in places.items()}


def _rows(marks: Marks, names: list[str]) -> NDArray[np.float64]:
    return np.stack([marks[name] for name in names])
