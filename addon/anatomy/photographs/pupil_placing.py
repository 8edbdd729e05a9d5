"""The globes' centres from reference photographs in which landmarks and pupils were marked.

All lengths are millimetres at life size, in the posed frame.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..eyes.globe_fit import Estimate
from .joined_photos import JoinedPhotos, SeenPhoto
from .photo_cameras import Marked, anchors, shots


@dataclass(frozen=True, eq=False)
class PhotoEyes:
    """What photographs say of the eyes.

    Parameters
    ----------
    estimates : side to the globe's centre, for the sides whose pupil is marked
    photographs : those that fit, in their order
    landmarks : name to (3,) place of those that lie elsewhere on the head than two photographs or more see them
    excess : how much larger the misses are than marks and landmarks allow for; near 1 where all is well
    notes : a sentence on everything that was left out
    """

    estimates: Mapping[str, Estimate]
    photographs: tuple[SeenPhoto, ...]
    landmarks: Mapping[str, NDArray[np.float64]]
    excess: float
    notes: tuple[str, ...]


def eyes_from_photographs(
    photographs: Sequence[Marked],
    landmarks: Mapping[str, tuple[NDArray[np.float64], float]],
    starts: Mapping[str, NDArray[np.float64]],
    radius: float,
) -> PhotoEyes:
    """Solve the cameras and, from the pupils, the globes' centres.

    Parameters
    ----------
    photographs : with their marks
    landmarks : of the head: name to (3,) place and confidence from 0 to 1
    starts : side to about where the globe's centre lies; a side without one needs two photographs
    radius : of the globes

    Notes
    -----
    The centre lies behind the pupil along the gaze. Eyes that look into the lens show their pupil on the ray through
    the centre, whatever the camera's place. One photograph alone leaves the depth along its ray open: the estimate's
    covariance says so, and another source closes it.
    """
    head = anchors(landmarks)
    fitting, mistaken, notes = shots(photographs, head)
    if not fitting:
        return PhotoEyes({}, (), {}, 0.0, tuple(notes))
    work = JoinedPhotos(fitting, head, dict(starts), radius, mistaken)
    solved = work.solved()
    notes += work.notes + work.on_landmarks(solved)
    seen = tuple(work.seen(number, solved) for number in range(len(fitting)))
    return PhotoEyes(work.estimates(solved), seen, work.seen_elsewhere(solved), solved.excess, tuple(notes))
