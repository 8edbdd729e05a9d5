"""The step that refits hair made for another head."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ...anatomy.face.landmark_files import read_landmarks
from ...anatomy.face.units import MILLIMETRES
from ...files.reading import read
from ...geometry.errors import BadFile, BadSetting, NotReady
from ...geometry.measures import is_watertight
from ...geometry.mesh import Mesh
from ...geometry.progress import SILENT, Progress
from ...geometry.transforms import applied
from ..kinds import ON_SKIN, kinds
from ..step import Step, setting
from ..workpiece import Workpiece

if TYPE_CHECKING:
    from ...anatomy.hair.hair_start import Start

PART = "hair"
"""Name of the part it makes."""
_OPENS = ("hollow", "key", "vent")
"""Steps after which the head is not its outer form alone."""
Marks = dict[str, NDArray[np.float64]]


@dataclass(frozen=True)
class FitHair(Step):
    """Refit hair made for another head to this scalp, keeping its strands' shapes, at a set gap or overlap.

    The scalp the hair was made for is the head named in `old_head`, else the hair's own inner side. The hair becomes
    the part `hair`, ready for `key`.
    """

    NAME = "fit-hair"
    STAGE = "detail"
    READS = ON_SKIN | kinds("hair")
    CHANGES = kinds("hair")

    hair: str = setting(
        "", kind="path", help="Mesh of the hair, closed or a sheet; empty: the part `hair` that is there"
    )
    old_head: str = setting("", kind="path", help="Head the hair was made for, in the hair's own coordinates and unit")
    old_landmarks: str = setting(
        "", kind="path", help="Landmarks of that head, .json or .csv, in its coordinates; else they are looked for"
    )
    hair_units: str = setting(
        "auto", choices=("auto", *MILLIMETRES), help="Unit of these files; auto tells it from the head's size"
    )
    start: str = setting(
        "suited",
        choices=("suited", "landmarks", "form", "placed"),
        help="What it is first laid by: landmarks, its inner side's form, or as placed in the capture's coordinates",
    )
    gap: float = setting(
        0.05, low=-3.0, high=5.0, unit="mm", at="print", help="Gap between hair and scalp; negative overlaps"
    )
    tolerance: float = setting(
        0.02, low=0.002, high=0.5, unit="mm", at="print", help="How far any place of the under side may be off that"
    )
    hold: float = setting(
        0.8, low=0.0, high=1.0, help="How far strands keep their shapes: 0 gives way with the scalp, 1 is stiffest"
    )
    reach: float = setting(
        1.5, low=0.1, high=20.0, unit="mm", at="life", help="Hair no farther off the old scalp than this lies on it"
    )
    thicken: float = setting(
        0.0, low=0.0, high=3.0, unit="mm", at="print", help="Thickness given to a sheet of hair; 0 leaves it open"
    )
    smooth: int = setting(
        0,
        low=0,
        high=50,
        help="Rounds in which the noise of scanned locks is smoothed out; 3 for noise, 10 soften locks",
    )
    join: float = setting(
        0.0,
        low=0.0,
        high=30.0,
        unit="mm",
        at="life",
        help="Gap up to which loose locks are joined; 0 leaves them loose",
    )
    bridge: float = setting(
        0.6, low=0.2, high=5.0, unit="mm", at="print", help="Thickness of the bridges that join them"
    )

    def apply(self, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
        """The workpiece with the part `hair`. All is done at life size and brought back."""
        from ...anatomy.hair.hair_fit import fit_hair
        from ...anatomy.hair.hair_start import common_places, size_ratio
        from ...geometry.distances.sided import Sided
        from ...geometry.refitting.thickening import thickened
        from .hair_preparing import joined_hair, joined_where_it_lies, smoothed_hair
        from .hair_words import figures_of, fit_remarks, size_remarks

        scalp = scalp_of(piece).moved(_sized(1 / piece.scale))
        hair, placed = self._hair(piece), self.start == "placed" or not self.hair
        old = _mesh_of(self.old_head, "the head the hair was made for") if self.old_head else None
        gap, tolerance = self.gap / piece.scale, self.tolerance / piece.scale
        thick = 0.0 if is_watertight(hair) else self.thicken / piece.scale
        progress(0.0, "placing the hair")
        marks, new = self._old_marks(old, piece.scale, progress.stretch(0.0, 0.2)), _marks_of(piece)
        start = self._placed(piece) if placed else self._start(hair, scalp, marks, new)
        ratio, unit = 1.0, "the capture's coordinates"
        if not placed:
            ratio, unit = size_ratio(start.factor, self.hair_units, piece.scale)
        pairs, bridge = common_places(marks, new), self.bridge / piece.scale
        smooth = smoothed_hair(hair.moved(start.matrix), self.smooth, piece.scale)
        whole = joined_hair(smooth.hair, self.join, bridge, piece.scale, progress.stretch(0.1, 0.2))
        fit = fit_hair(
            whole.hair,
            surface := Sided(scalp),
            None if old is None else Sided(old.moved(start.matrix)),
            None if pairs is None else (applied(start.matrix, pairs[0]), pairs[1]),
            gap + thick / 2,
            tolerance,
            self.reach,
            self.hold,
            progress.stretch(0.2, 0.9 if thick else 1.0),
        )
        laid = fit.laid
        if thick:
            progress(0.9, "giving the sheet its thickness")
            laid = thickened(laid.mesh, laid.under, thick, surface, gap)
            laid, whole = joined_where_it_lies(laid, surface, gap, self.join, bridge, piece.scale)
        done = piece.but(parts={**piece.parts, PART: laid.mesh.moved(_sized(piece.scale))})
        done = done.measured(placed_by=start.how, hair_file=unit, size_ratio=round(ratio, 4))
        done = done.measured(hair_closed=is_watertight(laid.mesh), **figures_of(fit, laid, piece.scale))
        done = done.measured(**smooth.figures, **whole.figures)
        remarks = [*size_remarks(ratio), *smooth.remarks, *whole.remarks]
        remarks += fit_remarks(fit, laid, gap, tolerance, piece.scale)
        if old is None:
            remarks.append("The hair's own inner side was taken for the scalp it was made for, as no head was given")
        if not is_watertight(laid.mesh):
            remarks.append("The hair is a sheet without an inside: give thicken to make a printable part of it")
        for remark in remarks:
            done = done.noted(remark)
        return done

    def _hair(self, piece: Workpiece) -> Mesh:
        """The hair's mesh in its file's coordinates, or the capture's; vertices shared where a file repeats them."""
        from ...geometry.mending.welding import welded

        if self.hair:
            hair = _mesh_of(self.hair, "hair")
        elif PART in piece.parts:
            hair = piece.parts[PART].moved(np.linalg.inv(piece.frame))
        else:
            raise BadSetting("fit-hair: no hair was named and there is no part of that name: give its mesh as hair")
        return hair if is_watertight(hair) else welded(hair)

    def _old_marks(self, old: Mesh | None, scale: float, progress: Progress) -> Marks:
        """Sure landmarks of the old head in its own coordinates: read, or looked for where they are wanted."""
        from ...anatomy.face.proposals import SURE, propose_landmarks
        from ...anatomy.hair.hair_start import to_life

        if self.old_landmarks:
            marks = read_landmarks(self.old_landmarks)
            return {name: np.array(place) for name, (*place, sure) in marks.items() if sure >= SURE}
        if old is None or not self.hair or self.start in ("form", "placed"):
            return {}
        factor = to_life(old, self.hair_units, scale)
        found = propose_landmarks(old.moved(_sized(factor)), progress).marks
        return {name: place / factor for name, (place, sure) in found.items() if sure >= SURE}

    def _placed(self, piece: Workpiece) -> "Start":
        from ...anatomy.hair.hair_start import Start

        return Start(_sized(1 / piece.scale) @ piece.frame, "where it was placed")

    def _start(self, hair: Mesh, scalp: Mesh, marks: Marks, new: Marks) -> "Start":
        from ...anatomy.hair.hair_start import FEWEST, start_by_form, start_by_landmarks

        start = start_by_landmarks(marks, new) if self.start != "form" else None
        if start is None and self.start == "landmarks":
            raise NotReady(
                f"fit-hair: {len(set(marks) & set(new))} landmarks are sure on both heads, {FEWEST} are needed: "
                "run landmarks, and give old_landmarks"
            )
        return start or start_by_form(hair, scalp)


def _mesh_of(path: str, what: str) -> Mesh:
    found = read(path)
    if not isinstance(found, Mesh):
        raise BadFile(f"{path}: {what} is a mesh, not a cloud of points")
    return found


def _marks_of(piece: Workpiece) -> Marks:
    """The sure landmarks, life size."""
    return {name: np.asarray(mark.position) / piece.scale for name, mark in piece.landmarks.items() if mark.sure}


def scalp_of(piece: Workpiece) -> Mesh:
    """The outer form of the head: what it was before it was hollowed or parted."""
    opened = any(done.name in _OPENS for done in piece.history)
    head = piece.needed_head()
    return piece.skin if opened and piece.skin is not None else head


def _sized(factor: float) -> NDArray[np.float64]:
    return np.diag([factor, factor, factor, 1.0])
