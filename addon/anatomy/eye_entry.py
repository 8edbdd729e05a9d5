"""How far back an eye's bore must reach to come out whole in the hollow of the head."""

import numpy as np
from numpy.typing import NDArray

from ..geometry.errors import NotPossible
from ..geometry.mesh import Mesh
from ..geometry.winding import Winding

_RINGS, _SPOKES = (0.0, 0.5, 1.0), 24


def entry_length(
    centre: NDArray[np.float64], gaze: NDArray[np.float64], radius: float, hollow: Mesh, skin: Mesh, side: str
) -> float:
    """Length of bore from the pocket's centre to where all of its end lies in the hollow.

    Parameters
    ----------
    centre, gaze : (3,) of the eye; gaze of unit length
    radius : of the pocket and of the bore
    hollow : the hollow as a closed solid
    skin : the closed head without pockets, which the bore must not break through
    side : which eye, for the message

    Raises
    ------
    NotPossible
        The bore meets no hollow, or would come out of the skin first.
    """
    step = radius / 20
    depths = np.arange(radius, float(np.ptp(skin.vertices, axis=0).max()), step)
    points = _discs(centre, gaze, radius, depths)
    inside = Winding(hollow).inside(points.reshape(-1, 3)).reshape(points.shape[:2])
    if not inside.any():
        raise NotPossible(f"the {side} eye has no hollow behind it: set it from the front, or take a thinner wall")
    # The bore ends where most of its end is in the hollow: never mind a sliver that never is.
    deepest = inside.mean(axis=1)
    end = int(np.argmax(deepest >= min(1.0, deepest.max())))
    within_skin = Winding(skin).inside(points[: end + 1].reshape(-1, 3))
    if not within_skin.all():
        raise NotPossible(f"the {side} eye's way in from behind would break through the skin: set it from the front")
    return float(depths[end] + step)


def _discs(
    centre: NDArray[np.float64], gaze: NDArray[np.float64], radius: float, depths: NDArray[np.float64]
) -> NDArray[np.float64]:
    """(depths, k, 3) points of the bore's cross-section at each depth behind the centre."""
    across = np.cross(gaze, np.eye(3)[int(np.argmin(np.abs(gaze)))])
    across /= np.linalg.norm(across)
    beside = np.cross(gaze, across)
    angles = 2 * np.pi * np.arange(_SPOKES) / _SPOKES
    circle = np.cos(angles)[:, None] * across + np.sin(angles)[:, None] * beside
    disc = np.concatenate([share * radius * circle for share in _RINGS])
    return np.asarray(centre - depths[:, None, None] * gaze + disc)
