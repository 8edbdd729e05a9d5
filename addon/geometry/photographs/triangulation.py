"""A point from the rays on which several cameras see it: the start of a refinement by `bundle`."""

import numpy as np
from numpy.typing import NDArray

from ..errors import NotPossible

_NARROW = 1e-6  # least squared sine of the angle between rays


def nearest_to_rays(starts: NDArray[np.float64], ways: NDArray[np.float64]) -> NDArray[np.float64]:
    """(3,) the point with the least sum of squared distances to rays.

    Parameters
    ----------
    starts : (n, 3) a point of each ray
    ways : (n, 3) unit vectors along them

    Raises
    ------
    NotPossible
        Fewer than two, or all parallel.
    """
    across = np.eye(3) - ways[:, :, None] * ways[:, None, :]
    whole = across.sum(axis=0)
    if len(ways) < 2 or np.linalg.eigvalsh(whole)[0] < _NARROW * len(ways):
        raise NotPossible("a point needs two photographs taken from different places")
    return np.asarray(np.linalg.solve(whole, np.einsum("nij,nj->i", across, starts)))
