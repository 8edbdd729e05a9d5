"""How far back an eye's bore must reach to come out whole in the hollow of the head."""

import numpy as np
from numpy.typing import NDArray

from ...geometry.distances.rays import RayCaster
from ...geometry.errors import NotPossible
from ...geometry.mesh import Mesh
from .socket import Pocket

_RINGS, _SPOKES = (0.0, 0.5, 1.0), 24
_THIN = 1.5  # of the shortest bore: a back that is nearer is that of a face alone, as one range map gives it


def entry_length(pocket: Pocket, hollow: Mesh, skin: Mesh, side: str) -> float:
    """Length of bore from the pocket's centre to where all of its end lies in the hollow, or behind a thin face.

    Parameters
    ----------
    pocket : of the eye, with the bore that is carved so far
    hollow : the hollow as a closed solid
    skin : the closed head without pockets, which the bore must not break through
    side : which eye, for the message

    Raises
    ------
    NotPossible
        The bore meets no hollow, or would come out of the skin first.
    """
    starts = _disc(pocket.centre, pocket.gaze, pocket.widest)
    backward = np.tile(-pocket.gaze, (len(starts), 1))
    out, _ = RayCaster(skin).first_hit(starts, backward)
    if out.max() < _THIN * pocket.length:
        return max(pocket.length, float(out.max()) + pocket.widest / 20)
    entered, _ = RayCaster(hollow).first_hit(starts, backward)
    if not np.isfinite(entered).mean() > 0.5:
        raise NotPossible(f"the {side} eye has no hollow behind it: set it from the front, or take a thinner wall")
    # A sliver of the bore that never meets the hollow may go as far as the rest, if it stays under the skin.
    length = float(entered[np.isfinite(entered)].max()) + pocket.widest / 20
    if (out < np.minimum(entered, length)).any():
        raise NotPossible(f"the {side} eye's way in from behind would break through the skin: set it from the front")
    return length


def _disc(centre: NDArray[np.float64], gaze: NDArray[np.float64], radius: float) -> NDArray[np.float64]:
    """(k, 3) points of the bore's cross-section at the pocket's centre."""
    across = np.cross(gaze, np.eye(3)[int(np.argmin(np.abs(gaze)))])
    across /= np.linalg.norm(across)
    beside = np.cross(gaze, across)
    angles = 2 * np.pi * np.arange(_SPOKES) / _SPOKES
    circle = np.cos(angles)[:, None] * across + np.sin(angles)[:, None] * beside
    return np.asarray(centre + np.concatenate([share * radius * circle for share in _RINGS]))
