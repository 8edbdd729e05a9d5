"""The mouth: lips as relief over the round of the teeth, philtrum, and the hollow over the chin."""

import numpy as np
from numpy.typing import NDArray

from .shapes import Field, Points, bump, line_through, step

CORNER = 25.5
LINE_LEVEL = -50.0

_upper_border = line_through([0, 2.5, 5.5, 9, 15, 21, 25.5, 30], [-43.3, -42.6, -41.9, -42.6, -45.3, -48.3, -50.3, -51])
_lower_border = line_through([0, 6, 12, 18, 23, 25.5, 30], [-60.2, -60.0, -58.6, -55.9, -52.6, -50.9, -51])
_line = line_through([0, 4, 9, 15, 21, 25.5, 30], [-50.3, -50.1, -49.5, -49.4, -50.1, -50.6, -51])


def line_level(across: NDArray) -> NDArray[np.float64]:
    """Height of the mouth's line."""
    return _line(np.abs(across))


def vermilion(across: NDArray, up: NDArray) -> tuple[NDArray, NDArray]:
    """How far into the red of the upper and the lower lip a place is: 1 inside, 0 outside, soft at the border."""
    across = np.abs(across)
    fade = step(across, CORNER + 0.6, CORNER - 1.2)
    upper = step(up, _line(across) - 0.1, _line(across) + 0.1) * step(
        up, _upper_border(across) + 0.7, _upper_border(across) - 0.7
    )
    lower = step(up, _line(across) + 0.1, _line(across) - 0.1) * step(
        up, _lower_border(across) - 0.7, _lower_border(across) + 0.7
    )
    return upper * fade, lower * fade


def relief(points: Points) -> Field:
    """Millimetres that mouth and chin stand out of (or sink into) the muzzle."""
    across, forward, up = points.T
    across = np.abs(across)
    front = step(forward, 66, 78)
    reach = np.clip(across / CORNER, 0, 1.3)
    taper = np.clip(1 - reach**2.2, 0, 1)
    line, top, bottom = _line(across), _upper_border(across), _lower_border(across)
    upper = np.clip((up - line) / np.maximum(top - line, 0.8), -1, 4)
    lower = np.clip((line - up) / np.maximum(line - bottom, 0.8), -1, 4)
    tubercle = 0.5 * bump(across, 3.0) * bump(up + 47.6, 2.0)
    over_border = step(up - top, 9.0 - 3.0 * reach, -1.5)
    swell_upper = 3.5 * taper**0.8 * step(upper, -0.3, 0.5) * over_border
    under = 0.6 * step(lower, 1.45, 0.45) + 0.4 * step(lower, 2.6, 0.8)
    swell_lower = 3.5 * taper**0.8 * step(lower, -0.3, 0.45) * under
    roll = 0.22 * taper * bump(up - top - 0.3, 1.0) * step(upper, 0.3, 0.7)
    swell = np.where(up > line, swell_upper, swell_lower) + roll + tubercle
    # The line itself is pressed in, deepest in the pits of the corners.
    pressed = 1.4 * bump(up - line, 0.8) * step(across, CORNER + 3.0, CORNER - 3.0)
    pit = 1.1 * bump(across - CORNER - 0.3, 2.0) * bump(up - LINE_LEVEL + 0.8, 2.4)
    node = 1.3 * bump(across - CORNER - 5.5, 3.2) * bump(up - LINE_LEVEL + 1, 5.0)
    philtrum = -0.8 * bump(across, 2.4) * step(up, -31, -34) * step(up, -44.5, -41.5)
    columns = 0.55 * bump(across - 4.8 + (up + 36) * 0.06, 2.0) * step(up, -30, -35) * step(up, -45, -41)
    fold = -1.0 * bump(up + 67.0 - 0.012 * across**2, 3.6) * step(across, 24, 6)
    chin = 1.2 * bump(across, 9.5) * bump(up + 83, 8.0)
    return (front * (swell - pressed - pit + node + philtrum + columns + fold + chin)).astype(np.float32)
