"""Where an eye looks, and where its pupil is seen."""

import numpy as np
from numpy.typing import NDArray

from ...geometry.angles import arc_tangent
from .eye import EyeShape

PUPIL_BEHIND_APEX = 3.05
"""Entrance pupil behind the corneal apex, mm in an eye of radius 12: what a photograph shows of the pupil is its image
through the cornea. Le Grand's schematic eye, from memory; refraction at a cornea of 7.8 (reference_values.md, section
1) puts a pupil 3.6 deep at 3.05, and one at the 3.03 of 1,015 eyes over 50 at 2.51."""


def pupil_ahead(radius: float) -> float:
    """How far the entrance pupil lies in front of the centre of a globe of this radius, mm."""
    return EyeShape(2 * radius).apex - PUPIL_BEHIND_APEX * radius / 12


def gaze_way(across: float, up: float) -> NDArray[np.float64]:
    """(3,) unit vector of a gaze so many degrees to the sitter's left of ahead, and up."""
    turn, rise = np.radians(across), np.radians(up)
    return np.array([np.sin(turn) * np.cos(rise), -np.cos(turn) * np.cos(rise), np.sin(rise)])


def turned_gaze(gaze: NDArray[np.float64], across: float, up: float) -> NDArray[np.float64]:
    """(3,) unit vector of a gaze turned on by so many degrees to the sitter's left, and up."""
    x, y, z = gaze
    already = np.degrees(arc_tangent([x, z], [-y, np.hypot(x, y)]))
    return gaze_way(float(already[0]) + across, float(already[1]) + up)
