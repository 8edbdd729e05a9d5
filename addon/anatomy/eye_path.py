"""The way an eye travels into its socket from behind, as carving, hollowing and checking all take it.

The bore starts at the centre of the pocket and runs straight back along the eye's own axis, against its gaze, with
the pocket's radius: an eye moved along it keeps its cornea in line with the relief cut for it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .eye import EyeShape

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


def least_bore(diameter: float, clearance: float) -> float:
    """The shortest bore that leaves room for the eye's handling stem."""
    radius = EyeShape(diameter).sclera
    return radius * (1.0 + STEM_LENGTH) + 2 * clearance
