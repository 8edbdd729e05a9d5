"""Angles of directions, the same to the last bit whenever they are asked for."""

import numpy as np
from numpy.typing import ArrayLike, NDArray


def arc_tangent(up: ArrayLike, across: ArrayLike) -> NDArray[np.float64]:
    """Radians from the way across to the point (across, up), -pi to pi, element by element.

    Parameters
    ----------
    up, across : arrays of one shape, or of shapes that broadcast

    Notes
    -----
    numpy 1.26 reckons an arc tangent of strided columns by one of two routines that round differently, and which one
    hangs on where the result happens to lie in memory. Columns laid out for themselves always take the same one; a
    recipe's results rest on that.
    """
    columns = (np.ascontiguousarray(each, dtype=np.float64) for each in (up, across))
    return np.asarray(np.arctan2(*columns))
