"""Where a head is parted so that the eyes can be set from behind: above the ears, behind the hairline."""

import math
from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray

from ..geometry.mesh import Mesh
from ..geometry.solids.sections import Plane, plane

HAIRLINE = 1.1
"""Height of the parting over glabella at the front, over glabella to subnasale: the thirds of the face put the hairline
at 1 (Vitruvius, De architectura III.1.2), the rest keeps the seam behind it."""
OVER_EARS = 0.5
"""Height of the parting over the tragia, over tragion to crown: an ear reaches half its 62 mm over the tragion, 0.24 of
131 mm (ANSUR II means)."""
BARE = 0.16, 0.45
"""The same two heights without landmarks, down from the crown, over the breadth of the head: from the same means."""


def parting_plane(
    head: Mesh, landmarks: Mapping[str, NDArray[np.float64]], raise_by: float = 0.0, tilt: float = 0.0
) -> Plane:
    """The plane that parts the skull cap off a posed head; above it is the cap.

    Parameters
    ----------
    head : closed mesh, face towards -y, +z up
    landmarks : (3,) positions by name; glabella, subnasale, vertex and tragia are used where they are there
    raise_by : moves it along its normal, millimetres
    tilt : turns it about the ear-to-ear axis, radians; positive raises its front
    """
    crown = float(landmarks["vertex"][2]) if "vertex" in landmarks else float(head.vertices[:, 2].max())
    upper = head.vertices[head.vertices[:, 2] > crown - 0.8 * float(np.ptp(head.vertices[:, 0]))]
    breadth = float(np.ptp(upper[:, 0]))
    front = _front(head, landmarks, crown - BARE[0] * breadth)
    ears = [landmarks[name] for name in ("tragion-left", "tragion-right") if name in landmarks]
    if ears:
        ear = np.mean(ears, axis=0)
        side = np.array([0.0, ear[1], ear[2] + OVER_EARS * (crown - ear[2])])
    else:
        side = np.array([0.0, float(upper[:, 1].min() + upper[:, 1].max()) / 2, crown - BARE[1] * breadth])
    rise = math.atan2(front[2] - side[2], side[1] - front[1])
    return moved(plane(side, (0.0, np.sin(rise), np.cos(rise))), raise_by, tilt)


def moved(parting: Plane, raise_by: float = 0.0, tilt: float = 0.0) -> Plane:
    """A parting tilted by radians, positive raises its front, then moved along its own normal by millimetres."""
    return parting.tilted(tilt).raised(raise_by)


def clear_of_face(
    heights: Callable[[NDArray[np.float64]], NDArray[np.float64]], landmarks: Mapping[str, NDArray[np.float64]]
) -> bool:
    """Whether every landmark of the face and both tragia lie under a parting, told by the height of (n, 3) points
    over it.
    """
    face = [place for name, place in landmarks.items() if name != "vertex"]
    return not face or bool((heights(np.stack(face)) < 0).all())


def _front(head: Mesh, landmarks: Mapping[str, NDArray[np.float64]], level: float) -> NDArray[np.float64]:
    """(3,) the point behind the hairline the plane passes through."""
    if "glabella" in landmarks and "subnasale" in landmarks:
        brow, nose = landmarks["glabella"], landmarks["subnasale"]
        level = float(brow[2] + HAIRLINE * (brow[2] - nose[2]))
    near = np.abs(head.vertices[:, 2] - level) < 0.02 * float(np.ptp(head.vertices[:, 2]))
    row = head.vertices[near] if near.any() else head.vertices
    return np.array([0.0, float(row[:, 1].min()), level])
