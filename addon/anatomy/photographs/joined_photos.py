"""Photographs of one sitter solved together: cameras, landmarks within what they are known to, the globes' centres.

All lengths are millimetres at life size, in the posed frame.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...geometry.photographs.bundle import Bundle, Sight, bundle
from ...geometry.photographs.cameras import Camera
from ...geometry.photographs.first_cameras import LEAST_POSED
from ...geometry.photographs.triangulation import nearest_to_rays
from ..eyes.gaze import gaze_way, pupil_ahead
from ..eyes.globe_fit import AHEAD, Estimate
from .photo_cameras import WRONG, Anchors, Marked, Shot, mark_spread

_DEPTH_SPREAD = 0.4  # mm; how far people's pupils lie from the published depth, and globes from their published size
_GAZE_SPREAD = np.radians(3.0)  # of "ahead" and "into the camera", and of the eye's axis from its line of sight
_DEEPER_SPREAD = 0.7
"""mm, by which one globe lies deeper than the other: 0.20 ± 0.43 (Hertel, 2,010 people, Wu et al. 2015, doi
10.1038/srep08526), and half a degree by which a head may be posed askew."""
_UNKNOWN = 50.0  # mm; a place known only so well is not known
_FAR = 4.0  # spreads; a landmark on the head this far from where all photographs see it is mistaken
_ASTRAY = 3.0  # mm; a centre is thought to lie within so much of where it is first looked for
_ROUNDS = 6


@dataclass(frozen=True, eq=False)
class SeenPhoto:
    """A photograph as it was solved.

    Parameters
    ----------
    photograph : with its marks
    camera : at life size in the posed frame
    focal_error : one standard deviation of the focal length, pixels; 0 where it was given
    seen : mark to the pixel at which the solution sees it, of the marks that were used
    wrong : the marks that were left out
    """

    photograph: Marked
    camera: Camera
    focal_error: float
    seen: Mapping[str, tuple[float, float]]
    wrong: tuple[str, ...]

    @property
    def rms(self) -> float:
        """Root mean square of the distances from the marks to where they are seen, pixels."""
        off = [np.subtract(self.seen[name], self.photograph.marks[name]) for name in self.seen]
        return float(np.sqrt((np.square(off).sum(axis=1)).mean()))


class JoinedPhotos:
    """All photographs together: rows of points are the landmarks, then the centres."""

    def __init__(
        self,
        fitting: list[Shot],
        head: Anchors,
        starts: dict[str, NDArray[np.float64]],
        radius: float,
        mistaken: set[str],
    ) -> None:
        self.fitting, self.head = fitting, head
        self.ahead = pupil_ahead(radius)
        places = {side: self._first(side, starts.get(side)) for side in ("left", "right")}
        begun = {f"{side}-pupil": place for side, place in places.items() if place is not None}
        self.rows = {name: row for row, name in enumerate((*head.names, *begun))}
        self.points = np.vstack([head.places, *begun.values()])
        self.spreads = np.append(head.spreads, np.full(len(begun), _UNKNOWN))
        self.wrong = [set(shot.wrong) for shot in fitting]
        self.freed = [self.rows[name] for name in sorted(mistaken)]
        self.spreads[self.freed] = _UNKNOWN
        self.notes: list[str] = []

    def _first(self, side: str, start: NDArray[np.float64] | None) -> NDArray[np.float64] | None:
        """Where a centre is first looked for: as given, or nearest to its rays; None where too little shows it."""
        pupil = f"{side}-pupil"
        showing = [shot for shot in self.fitting if pupil in shot.photograph.marks]
        if start is not None or len(showing) < 2:
            return start if showing else None
        rays = np.concatenate([shot.camera.rays(np.array([shot.photograph.marks[pupil]])) for shot in showing])
        from_where = [shot.camera.place - self._beside(shot.photograph) for shot in showing]
        return nearest_to_rays(np.array(from_where), rays)

    def _beside(self, photograph: Marked) -> NDArray[np.float64]:
        """(3,) from a globe's centre to where its pupil shows; into the lens, centre and pupil lie on one ray."""
        if photograph.gaze == "camera":
            return np.zeros(3)
        way = AHEAD if isinstance(photograph.gaze, str) else gaze_way(*photograph.gaze)
        return np.asarray(self.ahead * way)

    def names(self, number: int) -> list[str]:
        """The marks of a photograph that are used."""
        return [
            name
            for name in self.fitting[number].photograph.marks
            if name in self.rows and name not in self.wrong[number]
        ]

    def solved(self) -> Bundle:
        """The agreement, wrong marks and mistaken landmarks left out one by one."""
        cameras = [shot.camera for shot in self.fitting]
        for _ in range(_ROUNDS):
            found = self._bundle(cameras)
            if not (self._drops_a_mark(found) or self._frees_a_landmark(found)):
                return found
            cameras = list(found.cameras)
        return self._bundle(cameras)

    def _bundle(self, cameras: Sequence[Camera]) -> Bundle:
        photographs = [shot.photograph for shot in self.fitting]
        lenses = {
            name: number for number, name in enumerate(dict.fromkeys(each.lens for each in photographs if each.lens))
        }
        numbers = [lenses.get(each.lens, len(lenses) + place) for place, each in enumerate(photographs)]
        given = {lens: each.focal for lens, each in zip(numbers, photographs, strict=True) if each.focal}
        return bundle(
            cameras,
            [self._sight(number) for number in range(len(photographs))],
            self.points,
            self.spreads,
            numbers,
            [lens in given for lens in numbers],
        )

    def _sight(self, number: int) -> Sight:
        photograph, names = self.fitting[number].photograph, self.names(number)
        beside = self._beside(photograph)
        return Sight(
            np.array([self.rows[name] for name in names]),
            np.array([photograph.marks[name] for name in names]),
            mark_spread(photograph.size),
            np.array([beside if name.endswith("-pupil") else np.zeros(3) for name in names]),
        )

    def _drops_a_mark(self, found: Bundle) -> bool:
        """Leave out the mark that misses most, if it misses by more than it may."""
        worst = (WRONG, 0, "")
        for number, misses in enumerate(found.misses):
            names = self.names(number)
            if len(names) > LEAST_POSED:
                off = np.linalg.norm(misses, axis=1) / mark_spread(self.fitting[number].photograph.size)
                worst = max(worst, (float(off.max()), number, names[int(np.argmax(off))]))
        _, number, name = worst
        if not name:
            return False
        if name.endswith("-pupil"):
            number = self._odd_one_out(name, found.cameras)
        self.wrong[number].add(name)
        self.notes.append(
            f"{self.fitting[number].photograph.file}: {name} does not agree with the other marks and is left out"
        )
        return True

    def _odd_one_out(self, pupil: str, cameras: Sequence[Camera]) -> int:
        """The photograph without which the others agree best, and on a centre that is where it was thought to be.

        A pupil has no place on the head to be held against: of three photographs taken at one height, each alone may
        be the one that is wrong.
        """
        costs = {}
        for number in range(len(self.fitting)):
            if pupil in self.names(number):
                self.wrong[number].add(pupil)
                found = self._bundle(cameras)
                self.wrong[number].remove(pupil)
                row = self.rows[pupil]
                astray = np.linalg.norm(found.points[row] - self.points[row]) / _ASTRAY
                costs[number] = found.cost + astray**2 / 2
        return min(costs, key=lambda number: costs[number])

    def _frees_a_landmark(self, found: Bundle) -> bool:
        """Trust no more in the landmark that lies farthest from where the photographs see it, if it is too far."""
        off = self._moved(found) / self.spreads[: len(self.head.names)]
        row = int(np.argmax(off))
        if off[row] <= _FAR:
            return False
        self.spreads[row] = _UNKNOWN
        self.freed.append(row)
        return True

    def _moved(self, found: Bundle) -> NDArray[np.float64]:
        """How far from its place on the head the photographs see each landmark, mm."""
        known = len(self.head.names)
        return np.asarray(np.linalg.norm(found.points[:known] - self.points[:known], axis=1))

    def seen_elsewhere(self, found: Bundle) -> dict[str, NDArray[np.float64]]:
        """Where two photographs or more see the landmarks that were not trusted."""
        names = [self.head.names[row] for row in self.freed]
        marked = [name for number in range(len(self.fitting)) for name in self.names(number)]
        return {name: found.points[self.rows[name]] for name in names if marked.count(name) > 1}

    def on_landmarks(self, found: Bundle) -> list[str]:
        """A sentence on each landmark that was not trusted."""
        moved = self._moved(found)
        return [
            f"the photographs see {self.head.names[row]} {moved[row]:.0f} mm from where it lies on the head: "
            "they were solved without it"
            for row in self.freed
        ]

    def seen(self, number: int, found: Bundle) -> SeenPhoto:
        """A photograph with its part of the solution."""
        photograph = self.fitting[number].photograph
        names = self.names(number)
        places = found.misses[number] + np.array([photograph.marks[name] for name in names])
        return SeenPhoto(
            photograph,
            found.cameras[number],
            float(found.focal_errors[number]),
            {name: (float(x), float(y)) for name, (x, y) in zip(names, places, strict=True)},
            tuple(sorted(self.wrong[number])),
        )

    def estimates(self, found: Bundle) -> dict[str, Estimate]:
        """The centres, with what is not known of the gaze and of the pupil's depth."""
        marked = {name for number in range(len(self.fitting)) for name in self.names(number)}
        sides = [side for side in ("left", "right") if f"{side}-pupil" in marked]
        rows = np.array([3 * self.rows[f"{side}-pupil"] + axis for side in sides for axis in range(3)], dtype=np.int64)
        centres, covariance = found.points.ravel()[rows], found.covariance[np.ix_(rows, rows)]
        if len(sides) == 2:
            centres, covariance = _side_by_side(centres, covariance)
        aside = self.ahead * np.sin(_GAZE_SPREAD)
        own = np.diag(np.square([aside, _DEPTH_SPREAD, aside]))
        blocks = {side: slice(3 * number, 3 * number + 3) for number, side in enumerate(sides)}
        return {
            side: Estimate("photographs", centres[block], covariance[block, block] + own)
            for side, block in blocks.items()
        }


def _side_by_side(
    centres: NDArray[np.float64], covariance: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Both centres, (6,) left and right, and their (6, 6) covariance, once it counts that globes lie equally deep.

    As one more measurement, of the difference of their depths, taken in by Kalman's formula (1960,
    doi 10.1115/1.3662552).
    """
    depths = np.array([0.0, 1.0, 0.0, 0.0, -1.0, 0.0])
    pull = covariance @ depths
    gain = pull / (depths @ pull + _DEEPER_SPREAD**2)
    return centres - gain * (depths @ centres), covariance - np.outer(gain, pull)
