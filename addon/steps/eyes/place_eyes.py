"""The step that finds where the eyes are, and how large the ones must be that go in."""

from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from ...anatomy.dimensions import GLOBE_WIDTH
from ...anatomy.eye import FISSURE_HEIGHT, MARGIN_REFLEX_UPPER, nearest_stock, stock_series
from ...anatomy.fissure import CORNERS, SIDES, Fissure, published_fissure
from ...geometry.cloud import Cloud
from ...geometry.errors import NotReady
from ...geometry.mesh import Mesh
from ...geometry.progress import SILENT, Progress
from ..step import Step, setting
from ..workpiece import EYES_FOUND, Check, Eye, Workpiece

_IPD = (50.0, 75.0)  # most adults (Dodgson 2004)
_OVERSIZE = 5.0  # %; an eye larger than the globe by more shows in the lids
_NEAR = 6.0  # mm; a globe farther from the twin's mirror image was placed there for a reason
_BY_HAND: tuple[str, ...] = ("by hand",)


@dataclass(frozen=True)
class PlaceEyes(Step):
    """Find both globes from landmarks, lids and visible sclera, and choose the eyes to put in."""

    NAME: ClassVar[str] = "place-eyes"
    STAGE: ClassVar[str] = "eyes"

    globe: float = setting(
        GLOBE_WIDTH, low=16.0, high=30.0, unit="mm", at="life", help="Diameter of the sitter's globes"
    )
    diameter: float = setting(
        0.0,
        low=0.0,
        high=60.0,
        unit="mm",
        at="print",
        help="Diameter of the eyes that go in; 0 takes the nearest of the series",
    )
    series: str = setting("", help="Diameters there are to choose from, such as 3, 4, 5, 6; empty for the usual ones")
    sources: str = setting(
        "all", choices=("all", "landmarks", "lids", "sclera"), help="What the globes are placed by, alone or together"
    )
    hold: str = setting(
        "centre", choices=("centre", "front"), help="What stays in place if the eye is not of the globe's size"
    )
    set_back: float = setting(
        0.0,
        low=-5.0,
        high=5.0,
        unit="mm",
        at="life",
        help="Sink the eyes behind where they were found, to leave the lids more",
    )
    gaze_distance: float = setting(
        0.0, low=0.0, high=100000.0, unit="mm", at="life", help="How far ahead the eyes meet; 0 for parallel gaze"
    )
    left_centre: tuple[float, ...] = setting(
        (), kind="point", unit="mm", help="Centre of the sitter's left globe, placed by hand, as the head stands"
    )
    right_centre: tuple[float, ...] = setting(
        (), kind="point", unit="mm", help="Centre of the sitter's right globe, placed by hand, as the head stands"
    )

    def apply(self, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
        """The workpiece with two eyes, their openings found on the head."""
        from ...anatomy.globe_placing import margin_about, placed_globe

        if self._sees_no_eyes(piece):
            return _without_eyes(piece)
        head, scale = piece.needed_head(), piece.scale
        head = Mesh(head.vertices / scale, head.triangles)
        points = _scan_points(piece) / scale
        placed = piece.but(checks=tuple(check for check in piece.checks if check.name != EYES_FOUND))
        for number, (side, _) in enumerate(SIDES):
            progress(number / 2, f"placing the {side} eye")
            by_hand = self.left_centre if side == "left" else self.right_centre
            if by_hand:
                centre = np.array(by_hand) / scale
                fissure = fissure_of(piece, side, centre, self.globe / 2)
                opening, length, height, seen = margin_about(head, fissure, centre, self.globe / 2)
                uncertainty, sources = 0.0, _BY_HAND
            else:
                fissure = fissure_of(piece, side, None, self.globe / 2)
                found = placed_globe(points, head, fissure, self.globe / 2, _trust(piece, side), self.sources)
                centre, opening, seen, sources = found.centre, found.opening, found.opening_seen, found.sources
                length, height = found.opening_length, found.opening_height
                uncertainty = float(np.sqrt(np.trace(found.covariance) / 3))
                placed = placed.measured(
                    **{
                        f"{side}_sclera_points": found.points,
                        f"{side}_sclera_spread_mm_life": found.spread,
                        f"{side}_depth_uncertainty_mm_life": float(np.sqrt(found.covariance[1, 1])),
                    }
                )
            eye = Eye(
                side,
                _triple(centre * scale),
                uncertainty=uncertainty * scale,
                sources=sources,
                opening=opening * scale,
            )
            placed = placed.but(eyes=(*placed.eyes[:number], eye)).measured(
                **{
                    f"{side}_uncertainty_mm_life": uncertainty,
                    f"{side}_fissure_length_mm_life": length,
                    f"{side}_fissure_height_mm_life": height,
                }
            )
            for note in _notes(side, sources, seen, fissure, by_twin=not by_hand and not _corners_seen(piece, side)):
                placed = placed.noted(note)
        return self._chosen(placed)

    def _sees_no_eyes(self, piece: Workpiece) -> bool:
        """Whether landmarks were looked for, and neither they nor a hand show where an eye is."""
        shown = self.left_centre or self.right_centre or any(_corners_seen(piece, side) for side, _ in SIDES)
        return not shown and any(done.name == "landmarks" for done in piece.history)

    def _chosen(self, piece: Workpiece) -> Workpiece:
        """The eyes with diameter, gaze and final centre, and what that costs."""
        wanted = self.globe * piece.scale
        diameter = self.diameter or nearest_stock(wanted, stock_series(self.series))
        error = 100 * (diameter / wanted - 1)
        centres = np.array([eye.centre for eye in piece.eyes])
        apart = float(np.linalg.norm(centres[0] - centres[1])) / piece.scale
        target = centres.mean(axis=0) + np.array([0.0, -self.gaze_distance * piece.scale, 0.0])
        back = self.set_back * piece.scale + ((diameter - wanted) / 2 if self.hold == "front" else 0.0)
        eyes = []
        for eye, centre in zip(piece.eyes, centres, strict=True):
            gaze = np.array([0.0, -1.0, 0.0])
            if self.gaze_distance:
                gaze = (target - centre) / np.linalg.norm(target - centre)
            place = centre + np.array([0.0, back, 0.0])
            eyes.append(
                Eye(eye.side, _triple(place), _triple(gaze), diameter, 0.0, eye.uncertainty, eye.sources, eye.opening)
            )
        piece = piece.but(eyes=tuple(eyes)).measured(
            eye_diameter_mm=diameter,
            globe_at_print_mm=wanted,
            eye_size_error_percent=error,
            pupils_apart_mm_life=apart,
            set_back_mm=back,
        )
        if error > _OVERSIZE and self.hold == "centre":
            piece = piece.noted(
                f"the eyes are {error:.0f} % larger than the sitter's at this scale and will push into the lids: "
                "hold=front sinks them so that the sclera stays where it was"
            )
        if not _IPD[0] <= apart <= _IPD[1]:
            piece = piece.noted(
                f"the globes lie {apart:.1f} mm apart at life size, most adults' {_IPD[0]:g} to "
                f"{_IPD[1]:g}: check scale and landmarks"
            )
        return piece


def _scan_points(piece: Workpiece) -> NDArray[np.float64]:
    """The raw scan where there is one, since closing smooths the margins; else the head's vertices."""
    if isinstance(piece.scan, Cloud):
        return piece.scan.points
    return (piece.scan or piece.needed_head()).vertices


def _trust(piece: Workpiece, side: str) -> float:
    """Confidence of the weakest landmark an eye is placed by; less where only its twin's were seen."""
    seen = _corners_seen(piece, side)
    own = side if seen else _twin(side)
    marks = [piece.landmarks[f"{name}-{own}"] for name in CORNERS if f"{name}-{own}" in piece.landmarks]
    return (1.0 if seen else 0.5) * min(mark.confidence for mark in marks)


def _corners_seen(piece: Workpiece, side: str) -> bool:
    return all(f"{name}-{side}" in piece.landmarks for name in CORNERS[:2])


def _twin(side: str) -> str:
    return "right" if side == "left" else "left"


def _without_eyes(piece: Workpiece) -> Workpiece:
    """The head as it is, with a finding that nobody can overlook."""
    advice = "place the corners of the eyes by hand (landmarks), or give left_centre and right_centre in place-eyes"
    others = tuple(check for check in piece.checks if check.name != EYES_FOUND)
    finding = Check(EYES_FOUND, 0, 2, "eyes", False, "the face", True, advice)
    return piece.but(eyes=(), checks=(*others, finding)).noted(
        f"No eye could be found on this head, so it has no lids, sockets or eyes of its own: {advice}"
    )


def fissure_of(piece: Workpiece, side: str, centre: NDArray[np.float64] | None, radius: float) -> Fissure:
    """The landmarks of one eye at life size. Lid middles that are missing are drawn from published sizes; an eye whose
    corners are missing is the other one's mirror image.
    """
    marks = piece.landmarks
    names = [f"{name}-{side}" for name in CORNERS]
    missing = [name for name in names[:2] if name not in marks]
    if missing and _corners_seen(piece, _twin(side)):
        twin = fissure_of(piece, _twin(side), None, radius).mirrored()
        if centre is None or np.hypot(*(np.array(twin.pupil_line()) - centre[[0, 2]])) < _NEAR:
            return twin
    if len(missing) == 2 and centre is not None:
        return published_fissure(side, centre + np.array([0.0, -radius - 1.0, 0.0]))
    if missing:
        raise NotReady(
            f"place-eyes: landmark {' and '.join(missing)} missing: run landmarks, place it by hand, or give "
            f"{side}_centre"
        )
    inner, outer = (piece.needed_landmark(name) / piece.scale for name in names[:2])
    middle = (inner + outer) / 2 + np.array([0.0, -3.5, 0.0])
    rise = MARGIN_REFLEX_UPPER / 10.08 * FISSURE_HEIGHT
    upper, lower = middle + np.array([0.0, 0.0, rise]), middle - np.array([0.0, 0.0, FISSURE_HEIGHT - rise])
    if names[2] in marks and names[3] in marks:
        upper, lower = (piece.needed_landmark(name) / piece.scale for name in names[2:])
    return Fissure(side, inner, outer, upper, lower)


def _notes(side: str, sources: tuple[str, ...], seen: bool, fissure: Fissure, by_twin: bool) -> list[str]:
    """What a sculptor must know of how this eye was placed."""
    notes = []
    if by_twin:
        notes.append(
            f"the corners of the {side} eye were not found: it was looked for where the {_twin(side)} eye's mirror "
            "image lies; place its landmarks by hand if it is elsewhere"
        )
    if sources != _BY_HAND and "sclera" not in sources:
        state = "is closed" if not fissure.is_open else "shows too little sclera"
        notes.append(
            f"the {side} eye {state}: its globe was placed by {' and '.join(sources)} only, right to about 1 mm at "
            "life size; compare it with a photograph"
        )
    if not seen:
        notes.append(
            f"no lid margin could be followed round the {side} eye: its opening was drawn through the landmarks"
        )
    return notes


def _triple(place: NDArray[np.float64]) -> tuple[float, float, float]:
    x, y, z = place.tolist()
    return x, y, z
