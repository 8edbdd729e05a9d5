"""The camera of each photograph of the sitter, from the landmarks marked in it and their places on the head.

All lengths are millimetres at life size, in the posed frame.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from ...geometry.errors import NotPossible
from ...geometry.photographs.bundle import Bundle
from ...geometry.photographs.cameras import Camera, Picture
from ...geometry.photographs.first_cameras import LEAST_LINEAR, LEAST_POSED
from ...geometry.photographs.resection import resected

MARK_SPREAD = 0.001
"""One standard deviation of a mark as a share of the picture's longer side: 2 px of 2,000 (common practice)."""

WRONG = 5.0
"""Spreads beyond which a mark is taken for a wrong one."""

AT_ODDS = 3.0
"""A photograph whose marks miss by so many times their spreads does not show this head."""

_USUAL_SPREAD = 1.5
_SPREADS = {
    "pronasale": 1.0,
    "subnasale": 1.0,
    "stomion": 1.0,
    "endocanthion": 1.0,
    "exocanthion": 1.0,
    "palpebrale-superius": 1.2,
    "palpebrale-inferius": 1.2,
    "cheilion": 1.2,
    "tragion": 1.5,
    "sellion": 2.0,
    "gnathion": 2.5,
    "glabella": 3.0,
    "orbitale": 4.0,
    "vertex": 8.0,
}
"""How far a landmark on the head and the same one marked in a photograph lie apart, mm, one standard deviation: the
first eight as our own search finds them on demo heads (tools/landmark_accuracy.py), the others, which are the tops of
gentle swellings or lie on the bone, by common practice."""

_LEAST_TRUST = 0.25
_MOST_DROPPED = 0.3  # share of a photograph's marks that may be wrong ones
_VIEWS = np.array(
    [
        [np.sin(turn) * np.cos(lift), -np.cos(turn) * np.cos(lift), np.sin(lift)]
        for turn in np.radians([-75.0, -45.0, -20.0, 0.0, 20.0, 45.0, 75.0])
        for lift in np.radians([-20.0, 10.0])
    ]
)
"""Where portraits are taken from, as unit vectors out of the head."""
_BESIDE = 0.1  # sine of the angle behind the ears from which an eye may still be seen


class Marked(Protocol):
    """A photograph and what was marked in it: see `files/photo_marks.py`."""

    @property
    def file(self) -> str:
        """The photograph's name."""

    @property
    def size(self) -> tuple[int, int]:
        """Width and height, pixels."""

    @property
    def picture(self) -> Picture:
        """Its frame, within the whole picture if it was cut out of one."""

    @property
    def marks(self) -> Mapping[str, tuple[float, float]]:
        """Name to pixel, from the top left corner."""

    @property
    def gaze(self) -> str | tuple[float, float]:
        """Where the sitter looks: "ahead", "camera", or degrees to the sitter's left and up from ahead."""

    @property
    def lens(self) -> str:
        """Photographs of one lens share their focal length."""

    @property
    def focal(self) -> float:
        """Focal length in pixels, 0 where it is unknown."""


@dataclass(frozen=True, eq=False)
class Anchors:
    """The head's landmarks: `names`, (n, 3) `places` and their (n,) `spreads`, mm."""

    names: tuple[str, ...]
    places: NDArray[np.float64]
    spreads: NDArray[np.float64]

    def of(self, photograph: Marked, without: Sequence[str] = ()) -> list[str]:
        """The landmarks that are marked in a photograph."""
        return [name for name in photograph.marks if name in self.names and name not in without]

    def rows(self, names: Sequence[str]) -> NDArray[np.int64]:
        """The rows of these landmarks."""
        return np.array([self.names.index(name) for name in names], dtype=np.int64)


@dataclass(frozen=True, eq=False)
class Shot:
    """A photograph that fits: its `camera`, and the `wrong` marks that are left out."""

    photograph: Marked
    camera: Camera
    wrong: tuple[str, ...]


def anchors(landmarks: Mapping[str, tuple[NDArray[np.float64], float]]) -> Anchors:
    """The landmarks of a head, name to (3,) place and confidence, as what cameras are solved from."""
    stems = [name.removesuffix("-left").removesuffix("-right") for name in landmarks]
    spreads = [
        _SPREADS.get(stem, _USUAL_SPREAD) / max(confidence, _LEAST_TRUST)
        for stem, (_, confidence) in zip(stems, landmarks.values(), strict=True)
    ]
    places = np.array([place for place, _ in landmarks.values()], dtype=np.float64).reshape(-1, 3)
    return Anchors(tuple(landmarks), places, np.array(spreads))


def mark_spread(size: tuple[int, int]) -> float:
    """One standard deviation of a mark, pixels."""
    return MARK_SPREAD * max(size)


def shots(photographs: Sequence[Marked], head: Anchors) -> tuple[list[Shot], set[str], list[str]]:
    """The camera of each photograph by itself.

    Parameters
    ----------
    photographs : with their marks
    head : the landmarks

    Returns
    -------
    Those that fit; the landmarks that lie elsewhere on the head than two photographs or more show; a sentence on each
    photograph or mark that is left out. A photograph with only four or five landmarks needs a focal length: its own,
    or that of one with more marks taken with the same lens.
    """
    found: dict[int, Shot] = {}
    notes = []
    lengths: dict[str, float] = {}
    for number in sorted(range(len(photographs)), key=lambda each: -len(head.of(photographs[each]))):
        photograph = photographs[number]
        marked = head.of(photograph)
        focal = photograph.focal or (lengths.get(photograph.lens, 0.0) if len(marked) < LEAST_LINEAR else 0.0)
        least = LEAST_POSED if focal else LEAST_LINEAR
        if len(marked) < least:
            unknown = "" if focal else " (four where focal_px is given)"
            notes.append(
                f"{photograph.file} shows {len(marked)} of the head's landmarks and is left out: mark at least "
                f"{least}{unknown}, not all in one plane"
            )
            continue
        try:
            found[number] = _shot(photograph, head, focal, least)
        except NotPossible as fault:
            notes.append(f"{photograph.file} is left out: {fault}")
            continue
        if photograph.lens:
            lengths.setdefault(photograph.lens, found[number].camera.focal)
    fitting, mistaken = _cleared([found[number] for number in sorted(found)])
    notes += [
        f"{shot.photograph.file}: {name} was marked elsewhere and is left out"
        for shot in fitting
        for name in shot.wrong
    ]
    return fitting, mistaken, notes


def _cleared(fitting: list[Shot]) -> tuple[list[Shot], set[str]]:
    """A mark that is wrong in most photographs is right: it is the landmark on the head that is mistaken."""
    wrong = [name for shot in fitting for name in shot.wrong]
    made = [name for shot in fitting for name in shot.photograph.marks]
    mistaken = {name for name in wrong if wrong.count(name) > max(1, made.count(name) / 2)}
    return [
        replace(shot, wrong=tuple(each for each in shot.wrong if each not in mistaken)) for shot in fitting
    ], mistaken


def _shot(photograph: Marked, head: Anchors, focal: float, least: int) -> Shot:
    """The camera of one photograph, its wrong marks left out one by one."""
    wrong: list[str] = []
    marked = head.of(photograph)
    while True:
        names = head.of(photograph, wrong)
        pixels = np.array([photograph.marks[name] for name in names])
        best = _before_the_face(photograph, head, names, focal)
        camera = best.cameras[0]
        off = _off(camera, head, names, pixels)
        worst = int(np.argmax(off))
        enough = len(names) > least and len(wrong) + 1 <= _MOST_DROPPED * len(marked)
        if off[worst] <= WRONG or not enough:
            break
        wrong.append(names[worst])
    if best.excess > AT_ODDS or off[worst] > 2 * WRONG:
        rows = head.rows(names)
        rms = float(np.sqrt((((camera.project(head.places[rows]) - pixels) ** 2).sum(axis=1)).mean()))
        raise NotPossible(
            f"its marks miss the head's landmarks by {rms:.0f} px: look for one on the wrong spot or the wrong side "
            "(left and right are the sitter's own)"
        )
    return Shot(photograph, camera, tuple(wrong))


def _before_the_face(photograph: Marked, head: Anchors, names: Sequence[str], focal: float) -> Bundle:
    """The best camera that stands where what was marked can be seen."""
    rows = head.rows(names)
    pixels = np.array([photograph.marks[name] for name in names])
    places = head.places[rows]
    every = resected(
        places, head.spreads[rows], pixels, mark_spread(photograph.size), photograph.picture, focal, _VIEWS
    )
    behind = "right-pupil" in photograph.marks or "left-pupil" in photograph.marks
    for each in every:
        sight = each.cameras[0].place - places.mean(axis=0)
        if not behind or -sight[1] > -_BESIDE * np.linalg.norm(sight):
            return each
    raise NotPossible("its marks fit only as seen from behind: left and right are the sitter's own")


def _off(camera: Camera, head: Anchors, names: Sequence[str], pixels: NDArray[np.float64]) -> NDArray[np.float64]:
    """How many spreads each mark lies from where the head's landmark is seen."""
    rows = head.rows(names)
    per_mm = camera.focal / camera.seen(head.places[rows])[:, 2]
    miss = np.linalg.norm(camera.project(head.places[rows]) - pixels, axis=1)
    return np.asarray(miss / np.hypot(mark_spread(camera.size), per_mm * head.spreads[rows]))
