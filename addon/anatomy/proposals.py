"""Landmarks proposed on a head in any pose: the face is found, set straight, and read feature by feature."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from ..geometry.depth_map import DepthMap, depth_map, sampled
from ..geometry.errors import NotReady
from ..geometry.mesh import Mesh
from ..geometry.progress import SILENT, Progress
from ..geometry.relief import relief
from ..geometry.sampling import spread_over
from ..geometry.transforms import applied
from .ear_search import find_tragion
from .face_search import Face, find_face
from .frame import head_frame
from .lid_search import Opening, find_openings
from .mouth_search import find_corners
from .profile_search import Found, midline_landmarks, profile_of
from .symmetry import squared_up
from .vertex_search import find_vertex

_COARSE = 4.0
_MIDDLE = 2.0
_FINE = 0.4
_FOLD = 0.8

SURE = 0.5
"""From this confidence on a landmark counts as sure."""


@dataclass(frozen=True)
class Proposals:
    """Landmark name to (3,) position and confidence, in the frame of the surface given, and the face they lie on.

    `face` is None where none was recognised. `asymmetry` is the median distance of the face from its mirror image, mm.
    """

    marks: Found
    face: Face | None
    asymmetry: float


TRACE = 0.05
"""What is less sure than this has left no trace worth showing, and is not proposed."""


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
        return Proposals({}, None, np.inf)
    face, matrix, asymmetry = found
    posed = head.moved(matrix)
    progress(0.7, "reading the profile")
    marks = midline_landmarks(profile_of(posed, face.size), face.size)
    front = _front(posed, face.size)
    progress(0.75, "reading lids and mouth")
    marks |= _eyes(front, face.size)
    marks |= _mouth(front, marks, face.size)
    marks |= _orbits(front, marks, face.size)
    progress(0.9, "looking at ears and crown")
    marks |= _ears(posed, face.size)
    marks |= _crown(posed, marks, face.size)
    back = np.linalg.inv(matrix)
    moved = {
        name: (applied(back, place), confidence)
        for name, (place, confidence) in marks.items()
        if confidence >= TRACE and np.isfinite(place).all()
    }
    return Proposals(moved, face, asymmetry)


def straight_face(head: Mesh, progress: Progress = SILENT) -> tuple[Face, NDArray[np.float64], float] | None:
    """The face on a head, the (4, 4) transform that poses it as a mean adult's, and its asymmetry, mm.

    Parameters
    ----------
    head : Mesh in millimetres at life size, any pose, normals outwards
    progress : told how far it is

    Returns
    -------
    face, transform and asymmetry, or None where no face is recognised. The symmetry plane is the face's own; nod and
    depth are those at which a mean face lies best on it.
    """
    face = find_face(spread_over(head, _COARSE), progress.stretch(0.0, 0.8))
    if not _recognised(face):
        return None
    progress(0.8, "setting the face straight")
    surface = spread_over(head, _MIDDLE).moved(face.matrix)
    straighten, asymmetry = squared_up(surface, _face_mask(surface.points, face.size))
    return face, straighten @ face.matrix, asymmetry


def _recognised(face: Face) -> bool:
    """Whether the place found is a face: like one, and more so than any other place on the surface.

    Measured: likeness 0.61-0.78 and 0.11-0.28 over the next best on demo heads, a statue, a mannequin, a base body and
    an average head; 0.47 and 0.19 on a bust with spectacles; 0.45 and 0.02 on a head cut off above the nose tip.
    """
    return face.likeness >= 0.40 and face.likeness - face.rival >= 0.06


def _face_mask(points: NDArray[np.float64], size: float) -> NDArray[np.bool_]:
    x, y, z = points.T / size
    return np.asarray((np.abs(x) < 55) & (y < -40) & (z > -85) & (z < 60))


def _front(posed: Mesh, size: float) -> DepthMap:
    """The face from the front, from under the mouth to over the brows."""
    low, high = (-62.0 * size, -85.0 * size), (62.0 * size, 55.0 * size)
    near = (posed.vertices[:, 1] < -20.0 * size) & (np.abs(posed.vertices[:, 0]) < 70 * size)
    near &= (posed.vertices[:, 2] > low[1] - 8) & (posed.vertices[:, 2] < high[1] + 8)
    triangles = posed.triangles[near[posed.triangles].all(axis=1)]
    return depth_map(posed.vertices[:, [0, 2, 1]] * [1, 1, -1], triangles, low, high, _FINE)


def _eyes(front: DepthMap, size: float) -> Found:
    found: Found = {}
    openings = find_openings(front, relief(_without_bars(front, size), _FOLD), size)
    for side, opening in zip(("left", "right"), openings, strict=True):
        confidence = _opening_confidence(opening)
        for name, place in (
            ("endocanthion", opening.inner),
            ("exocanthion", opening.outer),
            ("palpebrale-superius", opening.top),
            ("palpebrale-inferius", opening.bottom),
        ):
            _add(found, f"{name}-{side}", front, place, confidence)
    return found


def _without_bars(front: DepthMap, size: float) -> DepthMap:
    """The face without what stands before it and is thin: frames of spectacles, strands of hair."""
    seen = front.seen
    if not seen.any():
        return front
    rows, columns = ndimage.distance_transform_edt(~seen, return_distances=False, return_indices=True)
    depth = front.depths[rows, columns]
    reach = round(_BAR * size / front.pixel)
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    bars = depth - ndimage.grey_opening(depth, footprint=x**2 + y**2 <= reach**2) > _STANDS_OUT * size
    labels, count = ndimage.label(bars, structure=np.ones((3, 3)))
    long = [
        max(part.stop - part.start for part in box) > _LONG * size / front.pixel for box in ndimage.find_objects(labels)
    ]
    bars = ndimage.binary_dilation(np.isin(labels, np.arange(1, count + 1)[long]), iterations=3)
    return DepthMap(np.where(bars, np.nan, front.depths), front.low, front.pixel)


_BAR, _STANDS_OUT, _LONG = 2.8, 3.2, 12.0
"""Half the breadth of what counts as thin, how far it stands out and how long it is, mm: no lid edge stands out so."""


def _opening_confidence(opening: Opening) -> float:
    sharp = np.clip((opening.strength - 0.25) / 0.35, 0, 1)
    apart = np.clip((opening.contrast - 0.6) / 0.25, 0, 1)
    steady = np.clip((1.2 - opening.spread) / 0.8, 0, 1)
    alike = np.clip((7.0 - opening.unlike) / 4.0, 0, 1)
    return float(0.95 * sharp * apart * steady * alike)


def _mouth(front: DepthMap, marks: Found, size: float) -> Found:
    found: Found = {}
    if "stomion" not in marks:
        return found
    place, sure = marks["stomion"]
    left, right, strength = find_corners(front, relief(front, _FOLD), place[[0, 2]], size)
    confidence = float(min(sure, 0.95 * np.clip((strength - 0.2) / 0.4, 0, 1)))
    _add(found, "cheilion-left", front, left, confidence)
    _add(found, "cheilion-right", front, right, confidence)
    return found


def _orbits(front: DepthMap, marks: Found, size: float) -> Found:
    """The orbitalia: where the skin under the lower lid is most hollow. Weak at best, the bone's edge being hidden."""
    found: Found = {}
    for side in ("left", "right"):
        names = [f"{stem}-{side}" for stem in ("endocanthion", "exocanthion", "palpebrale-inferius")]
        if any(name not in marks for name in names):
            continue
        inner, outer, lid = (marks[name][0] for name in names)
        below = lid[2] - np.arange(7.0, 17.0, 0.4) * size
        across = np.full(len(below), (inner[0] + outer[0]) / 2)
        hollow = np.nan_to_num(sampled(relief(front, 2.0).valley, front, across, below))
        best, sure = int(np.argmax(hollow)), min(marks[names[2]][1], _ORBIT_AT_BEST)
        if best in (0, len(below) - 1):
            best, sure = len(below) // 2, sure / 2
        _add(found, f"orbitale-{side}", front, np.array([across[best], below[best]]), sure)
    return found


_ORBIT_AT_BEST = 0.4
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


def _crown(posed: Mesh, marks: Found, size: float) -> Found:
    """The vertex, in the frame that the sure landmarks give."""
    sure = {name: place for name, (place, confidence) in marks.items() if confidence >= SURE}
    try:
        frame = head_frame(sure)
    except NotReady:
        return {}
    top = find_vertex(posed.moved(frame.matrix), size)
    if top is None:
        return {}
    return {"vertex": (applied(np.linalg.inv(frame.matrix), top[0]), top[1])}


def _add(found: Found, name: str, front: DepthMap, place: NDArray[np.float64], confidence: float) -> None:
    """Put a place seen from the front on the surface; left out where there is none."""
    depth = float(front.at(place[:1], place[1:])[0])
    if np.isfinite(depth):
        found[name] = (np.array([place[0], -depth, place[1]]), confidence)
