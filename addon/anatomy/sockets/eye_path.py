"""The way an eye travels into its socket from behind, as carving, hollowing and checking all take it.

The bore starts at the centre of the pocket and runs straight back along the eye's own axis, against its gaze, with
the pocket's radius: an eye moved along it keeps its cornea in line with the relief cut for it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..eyes.eye import EyeShape
from .eye_seat import Seat

STEM_RADIUS, STEM_LENGTH = 0.3, 1.0
"""Of the handling stem behind a made eye, in radii of the eye: thick enough to print and hold at 1/6."""


@dataclass(frozen=True, eq=False)
class Bore:
    """A round way: `start` and `end` are (3,) points, `radius` its radius, all in one unit."""

    start: NDArray[np.float64]
    end: NDArray[np.float64]
    radius: float


def eye_bore(centre: ArrayLike, gaze: ArrayLike, pocket_radius: float, length: float) -> Bore:
    """The bore behind a pocket.

    Parameters
    ----------
    centre, gaze : (3,) of the eye; gaze of unit length
    pocket_radius : half the eye's diameter plus the clearance
    length : from the pocket's centre to the bore's end; as far as the hollow needs it
    """
    start = np.asarray(centre, dtype=np.float64)
    return Bore(start, start - np.asarray(gaze, dtype=np.float64) * length, pocket_radius)


def stepped(bore: Bore, seat: Seat) -> tuple[Bore, Bore]:
    """The bore as far as the step its ring sits against, and the wider one from there to the same end.

    The first runs on a little within the second, so that no skin is left between them.
    """
    way = bore.end - bore.start
    ahead = way / np.linalg.norm(way)
    step = bore.start + seat.depth * ahead
    middle = (seat.depth + np.linalg.norm(way)) / 2
    return Bore(bore.start, bore.start + middle * ahead, bore.radius), Bore(step, bore.end, seat.bore)


def least_bore(shape: EyeShape, clearance: float, seat: Seat | None = None) -> float:
    """The shortest bore that leaves room for the eye's handling stem, and for the ring behind it."""
    stem = shape.sclera * (1.0 + STEM_LENGTH) + 2 * clearance
    return stem if seat is None else max(stem, seat.back + 2 * clearance)
