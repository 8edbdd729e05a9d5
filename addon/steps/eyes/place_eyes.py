"""The step that finds where the eyes are, and how large the ones must be that go in."""

import dataclasses
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ...anatomy.eyes.dimensions import GLOBE_WIDTH
from ...anatomy.eyes.fissure import SIDES
from ...anatomy.eyes.gaze import turned_gaze
from ...geometry.errors import BadSetting, NotPossible
from ...geometry.progress import SILENT, Progress
from ..kinds import ON_SKIN, SCAN, kinds
from ..step import Step, setting
from ..workpiece import EYES_FOUND, Check, Eye, Workpiece
from .eye_stock import chosen_eye, eye_stock, eyes_to_choose_from
from .one_eye import corners_seen, search_in, triple, with_eye
from .photographs import compared, corrected, photographed, told

if TYPE_CHECKING:
    from ...anatomy.photographs.pupil_placing import PhotoEyes

_IPD = (50.0, 75.0)  # most adults (Dodgson 2004)
_MEAN_IPD = 62.8  # of 4,082 men and 1,986 women, 64.0 and 61.7 (ANSUR II)
_OVERSIZE = 5.0  # %; an eye larger than the globe by more shows in the lids
_TURN = 45.0  # degrees an eye turns at most


@dataclass(frozen=True)
class PlaceEyes(Step):
    """Find both globes from landmarks, lids, visible sclera and photographs, and choose the eyes to put in."""

    NAME = "place-eyes"
    STAGE = "eyes"
    READS = ON_SKIN | SCAN
    CHANGES = kinds("eyes")

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
    stock: str = setting("", kind="path", help="TOML file of your own eyes to choose from: name and diameter of each")
    sources: str = setting(
        "all",
        choices=("all", "landmarks", "lids", "sclera", "photographs"),
        help="What the globes are placed by, alone or together",
    )
    photographs: str = setting(
        "", kind="path", help="JSON or CSV file of landmarks and pupils marked in 1 to 8 photographs of the sitter"
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
    left_gaze_across: float = setting(
        0.0, low=-_TURN, high=_TURN, unit="deg", help="Turn the left eye's gaze to the sitter's left"
    )
    left_gaze_up: float = setting(0.0, low=-_TURN, high=_TURN, unit="deg", help="Turn the left eye's gaze up")
    right_gaze_across: float = setting(
        0.0, low=-_TURN, high=_TURN, unit="deg", help="Turn the right eye's gaze to the sitter's left"
    )
    right_gaze_up: float = setting(0.0, low=-_TURN, high=_TURN, unit="deg", help="Turn the right eye's gaze up")
    left_centre: tuple[float, ...] = setting(
        (), kind="point", unit="mm", help="Centre of the sitter's left globe, placed by hand, as the head stands"
    )
    right_centre: tuple[float, ...] = setting(
        (), kind="point", unit="mm", help="Centre of the sitter's right globe, placed by hand, as the head stands"
    )

    def apply(self, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
        """The workpiece with two eyes, their openings found on the head."""
        stock = eye_stock(self.series, self.stock)
        seen = self._photographed(piece, progress)
        estimates = {} if seen is None else seen.estimates
        if self._sees_no_eyes(piece) and len(estimates) < 2:
            return _without_eyes(piece)
        search = search_in(piece, self.globe / 2, self.sources, estimates)
        placed = piece.but(eyes=(), checks=tuple(check for check in piece.checks if check.name != EYES_FOUND))
        placed = placed if seen is None else corrected(told(placed, seen, self.photographs), seen)
        for number, (side, _) in enumerate(SIDES):
            progress(number / 2, f"placing the {side} eye")
            by_hand = self.left_centre if side == "left" else self.right_centre
            placed = with_eye(placed, search, side, by_hand)
        return self._chosen(compared(placed, estimates), stock)

    def _photographed(self, piece: Workpiece, progress: Progress) -> "PhotoEyes | None":
        """What the photographs show, where there are some and they are asked for."""
        if self.sources == "photographs" and not self.photographs:
            raise BadSetting("place-eyes: sources=photographs needs the marks: give photographs, a JSON or CSV file")
        if not self.photographs or self.sources not in ("all", "photographs"):
            return None
        progress(0.0, "solving the photographs")
        seen = photographed(piece, self.photographs, self.globe / 2)
        if self.sources == "photographs" and len(seen.estimates) < 2:
            why = "; ".join(seen.notes) or "no pupil is marked in them"
            raise NotPossible(f"place-eyes: the photographs do not show both eyes: {why}")
        return seen

    def _sees_no_eyes(self, piece: Workpiece) -> bool:
        """Whether landmarks were looked for, and neither they nor a hand show where an eye is."""
        shown = self.left_centre or self.right_centre or any(corners_seen(piece, side) for side, _ in SIDES)
        return not shown and any(done.name == "landmarks" for done in piece.history)

    def _chosen(self, piece: Workpiece, stock: dict[str, float]) -> Workpiece:
        """The eyes with diameter, gaze and final centre, and what that costs."""
        wanted = self.globe * piece.scale
        nearest = chosen_eye(wanted, stock)
        diameter = self.diameter or stock[nearest]
        error = 100 * (diameter / wanted - 1)
        back = self.set_back * piece.scale + ((diameter - wanted) / 2 if self.hold == "front" else 0.0)
        centres = np.array([eye.centre for eye in piece.eyes])
        apart = float(np.linalg.norm(centres[0] - centres[1])) / piece.scale
        piece = piece.but(eyes=self._seated(piece.eyes, diameter, back, piece.scale)).measured(
            eye="as asked for" if self.diameter else nearest,
            eye_diameter_mm=diameter,
            globe_at_print_mm=wanted,
            eye_size_error_percent=error,
            eyes_to_choose_from=eyes_to_choose_from(wanted, stock),
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
                f"the globes lie {apart:.1f} mm apart at life size, most adults' {_IPD[0]:g} to {_IPD[1]:g}: check "
                "unit and landmarks; a head smaller or larger than life has such globes too: set globe to about "
                f"{self.globe * apart / _MEAN_IPD:.0f} mm"
            )
        return piece

    def _seated(self, eyes: tuple[Eye, ...], diameter: float, back: float, scale: float) -> tuple[Eye, ...]:
        """The eyes in their size, sunk by `back` and looking where they should."""
        centres = np.array([eye.centre for eye in eyes])
        middle, sunk = centres.mean(axis=0), np.array([0.0, back, 0.0])
        return tuple(
            dataclasses.replace(
                eye,
                centre=triple(centre + sunk),
                gaze=triple(self._gaze(eye, centre, middle, scale)),
                diameter=diameter,
            )
            for eye, centre in zip(eyes, centres, strict=True)
        )

    def _gaze(
        self, eye: Eye, centre: NDArray[np.float64], middle: NDArray[np.float64], scale: float
    ) -> NDArray[np.float64]:
        """Ahead, or to where both eyes meet; then turned as this eye's own settings say."""
        gaze = np.array([0.0, -1.0, 0.0])
        if self.gaze_distance:
            target = middle + np.array([0.0, -self.gaze_distance * scale, 0.0])
            gaze = (target - centre) / np.linalg.norm(target - centre)
        across, up = (
            (self.left_gaze_across, self.left_gaze_up)
            if eye.side == "left"
            else (self.right_gaze_across, self.right_gaze_up)
        )
        return turned_gaze(gaze, across, up) if across or up else gaze


def _without_eyes(piece: Workpiece) -> Workpiece:
    """The head as it is, with a finding that nobody can overlook."""
    advice = "place the corners of the eyes by hand (landmarks), or give left_centre and right_centre in place-eyes"
    others = tuple(check for check in piece.checks if check.name != EYES_FOUND)
    finding = Check(EYES_FOUND, 0, 2, "eyes", False, "the face", True, advice)
    return piece.but(eyes=(), checks=(*others, finding)).noted(
        f"No eye could be found on this head, so it has no lids, sockets or eyes of its own: {advice}"
    )
