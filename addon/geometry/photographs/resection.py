"""One camera from the points it sees: where it stood, how it was turned and, if unknown, its focal length."""

import numpy as np
from numpy.typing import NDArray

from .bundle import Bundle, Sight, bundle
from .cameras import Picture
from .first_cameras import first_cameras

_TRIED, _TRIED_OF_FEW = 3, 6  # first guesses that are refined; few points are more often seen alike from two sides
_FEW = 8


def resected(
    points: NDArray[np.float64],
    spreads: NDArray[np.float64],
    pixels: NDArray[np.float64],
    spread: float,
    picture: Picture,
    focal: float = 0.0,
    sides: NDArray[np.float64] | None = None,
) -> list[Bundle]:
    """The camera by which marked points are seen where they were marked.

    Parameters
    ----------
    points : (n, 3) places of the points, n at least 4
    spreads : (n,) one standard deviation of those, the points' unit
    pixels : (n, 2) where each was marked
    spread : one standard deviation of a mark, pixels
    picture : the photograph's frame
    focal : the focal length in pixels; 0 where it is unknown
    sides : (k, 3) unit vectors towards where the camera may have stood, where something is known of that

    Returns
    -------
    What each first guess came to, the one that agrees best first. Flat faces have a second answer close behind.

    Raises
    ------
    NotPossible
        Fewer than four points, all on one line, or none in front of any camera.
    """
    sight = Sight(np.arange(len(points)), pixels, spread, np.zeros_like(points))
    starts = first_cameras(points, pixels, picture, focal, sides)
    starts.sort(key=lambda start: float(np.median(np.linalg.norm(start.project(points) - pixels, axis=1))))
    starts = starts[: _TRIED_OF_FEW if len(points) < _FEW else _TRIED]
    found = [bundle([start], [sight], points, spreads, [0], [focal > 0]) for start in starts]
    return sorted(found, key=lambda each: each.cost)
