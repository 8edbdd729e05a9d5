"""The Frankfurt horizontal and the mid-sagittal plane, from whatever landmarks there are."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...geometry.errors import BadSetting, NotReady
from ...geometry.transforms import matched, transform
from .landmarks import MIDLINE, pairs
from .proportions import mean_head

Marks = Mapping[str, NDArray[np.float64]]

PROFILES_DIFFER = 3.6
"""Degrees, one standard deviation, by which profiles lean differently over the Frankfurt horizontal: the facial angle
of cephalometry, 87.8 +- 3.6 (Downs 1948, from memory). A pose by a mean adult's landmarks is right to so much."""

_TRAGION_OFF, _ORBITALE_OFF = 1.5, 2.5
"""mm up or down, one standard deviation: of a tragion as our search finds it (tools/landmark_accuracy.py), of the
orbitalia together, which are wrong together where the bone's edge lies elsewhere under the skin (our estimate)."""

FRANKFURT = ("tragion-left", "tragion-right")
ORBITALIA = ("orbitale-left", "orbitale-right")


@dataclass(frozen=True)
class HeadFrame:
    """How a head is brought into its posed frame.

    `matrix` (4, 4) takes it there: x to the sitter's left, face towards -y, z up, origin midway between the tragia
    on the mid-sagittal plane. `exact` tells the Frankfurt horizontal itself from a stand-in; `how` says in words
    what the horizontal and the origin rest on. `asymmetry` is the RMS distance of the midline landmarks and of the
    pairs' midpoints from the mid-sagittal plane, mm. `nod` is one standard deviation of the horizontal's slope along
    the line of sight, degrees; None where nobody can say. `by` names the landmarks the horizontal rests on.
    """

    matrix: NDArray[np.float64]
    exact: bool
    how: str
    asymmetry: float
    nod: float | None = None
    by: tuple[str, ...] = ()


def mid_sagittal(marks: Marks) -> tuple[NDArray[np.float64], float, float]:
    """The symmetry plane of the landmarks: unit normal to the sitter's left, offset, RMS distance from it.

    Parameters
    ----------
    marks : landmark name to (3,) position, any frame

    Returns
    -------
    normal (3,), offset with normal . x = offset on the plane, and the RMS distance of what should lie on it.

    Raises
    ------
    NotReady
        No pair, or fewer than two other places to hold the plane.

    Notes
    -----
    Least squares through midline points and midpoints of pairs, the pairs' chords square to the plane.
    """
    both = pairs(marks)
    if not both:
        raise NotReady("no landmark is there on both sides: place the eye corners or tragia of both")
    lefts = np.array([marks[left] for left, _ in both])
    rights = np.array([marks[right] for _, right in both])
    on_plane = np.array([*((lefts + rights) / 2), *(marks[name] for name in MIDLINE if name in marks)])
    chords = (lefts - rights) / 2
    around = on_plane - on_plane.mean(axis=0)
    spread = around.T @ around + np.eye(3) * (chords**2).sum() - chords.T @ chords
    normal = np.linalg.eigh(spread)[1][:, 0]
    normal = normal * np.sign(normal @ chords.sum(axis=0))
    offset = float(normal @ on_plane.mean(axis=0))
    return normal, offset, float(np.sqrt(((on_plane @ normal - offset) ** 2).mean()))


def head_frame(marks: Marks) -> HeadFrame:
    """The posed frame of a head with these landmarks, all of them taken as sure.

    Parameters
    ----------
    marks : landmark name to (3,) position in any frame, millimetres

    Returns
    -------
    HeadFrame. With both tragia and an orbitale: the Frankfurt horizontal through the tragia and the mean of the
    orbitalia there are, and the origin midway between the tragia. Otherwise the horizontal on which the landmarks
    lie as a mean adult's do, and the origin midway between the tragia or, where one is missing, where that puts
    them; `how` says so.

    Raises
    ------
    NotReady
        Too few landmarks, or all near one line.

    Notes
    -----
    Frankfurt horizontal: reference_values.md section 2, on the living through both tragia and the left orbitale; both
    orbitalia are averaged here where there are both, so that mirrored heads get mirrored frames.
    """
    normal, offset, asymmetry = mid_sagittal(marks)
    orbitalia = [marks[name] for name in ORBITALIA if name in marks]
    if orbitalia and all(name in marks for name in FRANKFURT):
        origin = (marks[FRANKFURT[0]] + marks[FRANKFURT[1]]) / 2
        forward = np.mean(orbitalia, axis=0) - origin
        how = "both tragia and " + " and ".join(name for name in ORBITALIA if name in marks)
        by = (*FRANKFURT, *(name for name in ORBITALIA if name in marks))
        exact, nod = True, _nod_of_frankfurt(float(np.linalg.norm(forward)))
    else:
        origin, forward, how = _as_in_the_mean_head(marks)
        by = tuple(name for name in mean_head() if name in marks and name != "vertex")
        exact, nod = False, PROFILES_DIFFER
    origin = origin - (origin @ normal - offset) * normal
    forward = forward - (forward @ normal) * normal
    back = -forward / np.linalg.norm(forward)
    turn = np.array([normal, back, np.cross(normal, back)])
    return HeadFrame(transform(turn, -turn @ origin), exact, how, asymmetry, nod, by)


def frame_of_directions(up: NDArray[np.float64], front: NDArray[np.float64], origin: NDArray[np.float64]) -> HeadFrame:
    """The posed frame where the user says which way is up and which way the face looks.

    Parameters
    ----------
    up, front : (3,) directions, not along one line; `front` is squared up against `up`
    origin : (3,) point that becomes the origin

    Raises
    ------
    BadSetting
        A direction of no length, or both along one line.
    """
    height = float(np.linalg.norm(up))
    square = front - (front @ up) * up / height**2 if height else front
    if height == 0 or np.linalg.norm(square) < 1e-6 * max(float(np.linalg.norm(front)), 1e-300):
        raise BadSetting("up and front must be two different directions, neither of them 0,0,0")
    crown, back = up / height, -square / np.linalg.norm(square)
    turn = np.array([np.cross(back, crown), back, crown])
    return HeadFrame(transform(turn, -turn @ origin), False, "the directions given for up and front", 0.0)


def _nod_of_frankfurt(reach: float) -> float:
    """Degrees by which the plane through tragia and orbitalia `reach` mm apart may nod, one standard deviation."""
    return float(np.degrees(np.hypot(_TRAGION_OFF / np.sqrt(2), _ORBITALE_OFF) / reach))


def _as_in_the_mean_head(marks: Marks) -> tuple[NDArray[np.float64], NDArray[np.float64], str]:
    """Origin, forward direction and words, from laying a mean adult's landmarks over these."""
    mean = mean_head()
    names = [name for name in mean if name in marks and name != "vertex"]
    if len(names) < 3:
        raise NotReady(f"{len(names)} sure landmarks: a pose needs three, two of them a pair; place them by hand")
    source, target = np.array([mean[name] for name in names]), np.array([marks[name] for name in names])
    if np.linalg.svd(source - source.mean(axis=0), compute_uv=False)[1] < 15.0:
        raise NotReady("the sure landmarks lie near one line: add one above or below the eyes")
    laid = matched(source, target, scaled=True)
    weak = [
        *(["tragia"] if any(name not in marks for name in FRANKFURT) else []),
        *(["orbitalia"] if all(name not in marks for name in ORBITALIA) else []),
    ]
    missing = " and ".join(weak)
    how = f"the {missing} are not sure, so {len(names)} landmarks were laid as on a mean adult head"
    ears = [marks[name] for name in FRANKFURT if name in marks]
    origin = laid[:3, 3] if len(ears) < 2 else np.mean(ears, axis=0)
    return np.asarray(origin, dtype=np.float64), -laid[:3, 1], how
