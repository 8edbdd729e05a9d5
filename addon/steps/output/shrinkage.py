"""What leaves for the printer is larger than what is wanted, by what the resin shrinks."""

from dataclasses import replace

import numpy as np

from ..workpiece import Workpiece


def growth_of(piece: Workpiece) -> float:
    """Size in the file over size in the hand: 1 / (1 - shrinkage), 1 where no shrinkage is made up for."""
    return 1.0 / (1.0 - piece.shrinkage)


def as_exported(piece: Workpiece) -> Workpiece:
    """The workpiece as its files hold it, made up for shrinkage: parts, eyes, landmarks, the places of findings.

    Till then every length is that of the finished print, so that what is bought (an eye, a magnet, a body's ball) mates
    with what was made for it. Findings keep their values, which are the finished print's. What is returned is for
    files and reports only: it is made up for already, and no step should go on with it.
    """
    growth = growth_of(piece)
    if growth == 1.0:
        return piece
    checks = tuple(
        check if isinstance(check.where, str) else replace(check, where=_grown(check.where, growth))
        for check in piece.checks
    )
    return piece.moved(np.diag([growth, growth, growth, 1.0])).but(checks=checks, shrinkage=0.0)


def _grown(place: tuple[float, float, float], growth: float) -> tuple[float, float, float]:
    x, y, z = (growth * each for each in place)
    return x, y, z
