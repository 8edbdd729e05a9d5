"""Landmarks proposed on a head in any pose: the face is found, set straight, and read feature by feature."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...geometry.errors import NotReady
from ...geometry.mesh import Mesh
from ...geometry.progress import SILENT, Progress
from ...geometry.transforms import applied, rotation, transform
from .ear_search import find_tragion
from .face_pose import StraightFace, resized, straight_face
from .face_search import Face
from .frame import HeadFrame, head_frame
from .front_search import mouth_landmarks, orbit_landmarks, size_in_profile
from .front_view import front_of
from .lid_landmarks import eye_landmarks
from .profile_search import Found, midline_landmarks, profile_of
from .vertex_search import find_vertex

SURE = 0.5
"""From this confidence on a landmark counts as sure."""

TRACE = 0.05
"""What is less sure than this has left no trace worth showing, and is not proposed."""

_UPPER = ("glabella", "sellion")
"""What of the midline can be read where only the upper face is there."""


@dataclass(frozen=True)
class Proposals:
    """Landmark name to (3,) position and confidence, in the frame of the surface given, and the face they lie on.

    `face` is None where none was recognised.
    """

    marks: Found
    face: StraightFace | None


def propose_landmarks(head: Mesh, progress: Progress = SILENT) -> Proposals:
    """The craniofacial landmarks of a head, closed or open, in any pose.

    Parameters
    ----------
    head : Mesh in millimetres at life size, normals outwards
    progress : told how far it is

    Returns
    -------
    Proposals; nothing is in them of which there is no trace on the surface, and an empty set where no face is found.
    """
    found = straight_face(head, progress.stretch(0.0, 0.7))
    if found is None:
        return Proposals({}, None)
    face = found.face
    posed = resized(head, found.enlarged).moved(found.matrix)
    progress(0.7, "reading profile, lids and mouth")
    marks = _midline(posed, face)
    front = front_of(posed, face.size)
    marks |= eye_landmarks(front, size_in_profile(marks, face.size))
    if face.whole:
        marks |= mouth_landmarks(front, marks, face.size)
    marks |= orbit_landmarks(front, marks, face.size)
    progress(0.9, "looking at ears and crown")
    marks |= _ears(posed, face.size)
    marks |= _held_straight(posed, marks, face)
    back = np.linalg.inv(found.matrix)
    moved = {
        name: (applied(back, place) / found.enlarged, confidence)
        for name, (place, confidence) in marks.items()
        if confidence >= TRACE and np.isfinite(place).all()
    }
    return Proposals(moved, found)


def _midline(posed: Mesh, face: Face) -> Found:
    found = midline_landmarks(profile_of(posed, face.size), face.size)
    return found if face.whole else {name: found[name] for name in _UPPER if name in found}


def _held_straight(posed: Mesh, marks: Found, face: Face) -> Found:
    """The landmarks defined by height and depth, read once more in the frame that the sure ones of all give."""
    try:
        frame = head_frame({name: place for name, (place, confidence) in marks.items() if confidence >= SURE})
    except NotReady:
        return {}
    nod = _nod_of(frame)
    again = _midline(posed.moved(nod), face)
    found = {name: (applied(np.linalg.inv(nod), place), confidence) for name, (place, confidence) in again.items()}
    top = find_vertex(posed.moved(frame.matrix), face.size)
    if top is not None:
        found["vertex"] = (applied(np.linalg.inv(frame.matrix), top[0]), top[1])
    return found


def _nod_of(frame: HeadFrame) -> NDArray[np.float64]:
    """(4, 4) turn about the x axis alone that brings the frame's upward direction upright."""
    _, back, up = frame.matrix[2, :3]
    return transform(rotation([1.0, 0.0, 0.0], math.atan2(back, up)))


_EAR_AT_BEST = 0.6


def _ears(posed: Mesh, size: float) -> Found:
    """The tragia; sure only where both ears show a hollow and lie at one height and depth."""
    sides = {side: find_tragion(posed, sign, size) for side, sign in (("left", 1.0), ("right", -1.0))}
    places = {side: ear for side, ear in sides.items() if ear is not None}
    apart = np.inf
    if len(places) == 2:
        (left, _), (right, _) = places["left"], places["right"]
        apart = float(np.linalg.norm((left - right)[1:])) / size
    alike = float(np.clip((12.0 - apart) / 6.0, 0.0, 1.0))
    found: Found = {}
    for side, (place, depth) in places.items():
        deep = float(np.clip((depth / size - 2.0) / 3.0, 0.0, 1.0))
        found[f"tragion-{side}"] = (place, _EAR_AT_BEST * deep * (0.5 + 0.5 * alike))
    return found
