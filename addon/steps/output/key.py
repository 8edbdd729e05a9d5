"""The step that parts the head so that eyes and hands can get inside, keyed so that it goes together one way only."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from ...anatomy.parting import clear_of_face, parting_plane
from ...geometry.errors import BadSetting, NotPossible
from ...geometry.mesh import Mesh
from ...geometry.progress import SILENT, Progress
from ...geometry.solids.seams import Seam, flat_seam
from ...geometry.solids.sections import plane, section
from ..kinds import ON_SKIN, kinds
from ..step import Step, setting
from ..workpiece import Workpiece

if TYPE_CHECKING:
    from ...geometry.solids.pins import Pins

BEARING = np.radians(62.0)
"""Where the notch or the first pin is, from the sitter's left towards the back: off the middle, in no plane of
symmetry."""
THINNEST_PIN = 0.8
"""A printed pin thinner than this breaks as it is put in, mm: common practice, no source."""
SHORTEST_PIN = 0.5
"""How short pins under hair are made by themselves, mm, where a hollow's wall has no room for longer ones: two layers'
worth of hold less, and they no longer find their holes; a judgement of ours, no source."""
HAIR = "hair"
"""Name of the part that fit-hair makes."""
Marks = dict[str, NDArray[np.float64]]


@dataclass(frozen=True)
class Key(Step):
    """Part the skull cap, or another part, off the head, keyed to go on one way: the eyes go in from behind.

    Hair is keyed on, and parts nothing: the mesh in `hair`, or the part `hair` that fit-hair made where `part` names
    it. It may lie on the head alone or, once a cap has been parted off, on both: its pins then all stand in the one
    that most of it lies on, so that it goes on one way and the two still come apart under it. It comes off along the
    way on which least of it is caught under them, unless `normal` gives another. Where it still reaches under them it
    is trimmed on its inner side, down to `thinnest`; past that they are relieved where it covers them; only what
    neither can solve is trimmed away. Key it last.
    """

    NAME = "key"
    STAGE = "output"
    READS = ON_SKIN | kinds("eyes", "hair")
    CHANGES = kinds("hair", "head", "parts")

    part: str = setting("", help="Name of the part taken off; empty: skull-cap, or hair; hair: that of fit-hair")
    kind: str = setting(
        "suited",
        choices=("suited", "rim", "pins"),
        help="What keys it: a rim with a notch, or pins in holes; suited: the rim for a plane, pins for curve and hair",
    )
    raise_by: float = setting(
        0.0, low=-200.0, high=200.0, unit="mm", at="print", help="Move the parting up, or down (-)"
    )
    tilt: float = setting(0.0, low=-60.0, high=60.0, unit="deg", help="Turn the parting; positive raises its front")
    origin: tuple[float, ...] = setting(
        (), kind="point", help="A point of another plane to part at, with normal: x,y,z"
    )
    normal: tuple[float, ...] = setting(
        (),
        kind="point",
        help="Way the part comes off, with origin, curve or hair: x,y,z; empty: found for curve and hair",
    )
    curve: str = setting(
        "", kind="path", help="Points of a curve to part along, in order round the head, in the capture's coordinates"
    )
    hair: str = setting(
        "", kind="path", help="Mesh of fitted hair to key on, in the capture's coordinates: the head stays whole"
    )
    height: float = setting(
        0.0, low=0.0, high=50.0, unit="mm", at="print", help="Of the rim's spigot or the pins; 0 suits the head"
    )
    clearance: float = setting(0.1, low=0.0, high=2.0, unit="mm", at="print", help="Gap between the parts all round")
    draft: float = setting(2.0, low=0.0, high=20.0, unit="deg", help="Least slope of the spigot's or the pins' side")
    lead: float = setting(
        0.15, low=0.0, high=3.0, unit="mm", at="print", help="Narrowing at the top, to find its way in"
    )
    rim: float = setting(
        1.2, low=0.3, high=20.0, unit="mm", at="print", help="Most of the wall left outside the spigot"
    )
    notch: float = setting(
        0.0, low=0.0, high=50.0, unit="mm", at="print", help="Width of the notch that keys it; 0 suits the head"
    )
    pins: int = setting(3, low=3, high=8, help="How many pins, unevenly spaced")
    pin: float = setting(0.0, low=0.0, high=20.0, unit="mm", at="print", help="Thickness of the pins; 0 suits the head")
    trim: bool = setting(True, help="Trim hair where it reaches under what it lies on, so that it lifts off")
    relieve: bool = setting(
        True, help="Take out of the head, under the hair only, what is in its way where trimmed hair would be too thin"
    )
    thinnest: float = setting(
        0.4,
        low=0.0,
        high=5.0,
        unit="mm",
        at="print",
        help="Least wall of the spigot and round pins, lined inwards for it, of trimmed hair and of the head beneath",
    )

    def apply(self, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
        """The workpiece with the head parted in two, or the hair keyed to it."""
        progress(0.0, "looking for the parting")
        head = piece.needed_head()
        breadth = float(np.ptp(head.vertices[:, 0]))
        if self.hair or (self.part == HAIR and HAIR in piece.parts):
            return self._haired(piece, breadth, progress)
        if HAIR in piece.parts and any(done.name == "key" and done.figures["part"] == HAIR for done in piece.history):
            raise NotPossible("key: the hair is keyed to this head already: part the head first, then key the hair")
        marks = {name: np.asarray(mark.position) for name, mark in piece.landmarks.items() if mark.sure}
        seam = self._seam(piece, marks)
        if self.kind == "rim" and not seam.flat:
            raise BadSetting("key: a curved parting is keyed by pins: leave kind at suited, or part at a plane")
        by_rim = seam.flat and self.kind != "pins"
        make = self._by_rim if by_rim else self._by_pins
        below, above, figures, remarks = make(piece, seam, breadth, progress.stretch(0.2, 1.0))
        name = self.part or "skull-cap"
        figures = {
            "part": name,
            "keyed_by": "rim" if by_rim else "pins",
            "cut_at_mm": seam.frame.origin.round(4).tolist(),
            "cut_up": seam.frame.up.round(6).tolist(),
            "clearance_mm": self.clearance,
            **figures,
        }
        piece = piece.but(head=below, parts={**piece.parts, name: above}).measured(**figures)
        if not clear_of_face(seam.heights, marks):
            remarks = ["The parting line crosses the face or the ears: raise it (raise_by) or tilt it", *remarks]
        for remark in remarks:
            piece = piece.noted(remark)
        return piece

    def _seam(self, piece: Workpiece, marks: Marks) -> Seam:
        """Where the head is parted: along the curve, at the plane that was set, or under the skull cap."""
        from .partings import centred, seam_from

        normal = np.asarray(self.normal)
        if self.normal and not normal.any():
            raise BadSetting("key: normal has no length: give a direction, such as 0,0,1")
        if self.curve:
            if self.origin:
                raise BadSetting("key: origin and curve are two partings: give one of them")
            return seam_from(self.curve, piece.frame, normal if self.normal else None, self.raise_by)
        if bool(self.origin) != bool(self.normal):
            raise BadSetting("key: origin and normal go together: give both or neither")
        if self.origin:
            up = normal / np.linalg.norm(normal)
            return flat_seam(centred(piece, plane(np.asarray(self.origin) + self.raise_by * up, up)))
        cut = parting_plane(piece.needed_head(), marks, self.raise_by, np.radians(self.tilt))
        return flat_seam(centred(piece, cut))

    def _by_rim(
        self, piece: Workpiece, seam: Seam, breadth: float, progress: Progress
    ) -> tuple[Mesh, Mesh, dict[str, Any], list[str]]:
        from ...geometry.solids.spigot import Spigot, parted
        from .partings import opening_remarks, rim_remarks

        height = self.height or 0.06 * breadth
        lead = min(self.lead, height / 4)
        notch = self.notch or 0.14 * breadth
        shape = Spigot(height, self.clearance, np.radians(self.draft), lead, self.rim, notch, BEARING, self.thinnest)
        halves = parted(piece.needed_head(), seam.frame, shape, progress)
        figures = {
            "spigot_mm": height,
            "collar_wall_mm": halves.collar_wall,
            "spigot_wall_mm": halves.spigot_wall,
            "opening_mm": halves.opening,
        }
        remarks = [*rim_remarks(halves, self.thinnest), *opening_remarks(piece, halves.opening)]
        return halves.below, halves.above, figures, remarks

    def _by_pins(
        self, piece: Workpiece, seam: Seam, breadth: float, progress: Progress
    ) -> tuple[Mesh, Mesh, dict[str, Any], list[str]]:
        from ...geometry.solids.pins import pinned, root_of
        from ...geometry.solids.spigot import opening_of
        from .hair_keying import pin_figures
        from .partings import opening_remarks

        shape = self._pins(breadth)
        found = pinned(piece.needed_head(), seam, shape, progress)
        level = seam.frame.raised(float(seam.levels.min()) - root_of(shape))  # where the pins' roots are thickest
        opening = opening_of([section(found.below, level)])
        figures = {"opening_mm": opening, **pin_figures(shape, found)}
        return found.below, found.above, figures, opening_remarks(piece, opening)

    def _haired(self, piece: Workpiece, breadth: float, progress: Progress) -> Workpiece:
        """The hair with pins, and holes in what most of it lies on: the head, or a part that was parted off it."""
        from ...geometry.lifting.freeing import Giving
        from .hair_keying import hair_keyed

        if self.curve or self.origin or self.kind == "rim":
            raise BadSetting("key: hair is keyed by pins and parts nothing: leave out curve, origin and kind")
        way = np.asarray(self.normal, dtype=np.float64) if self.normal else None
        if way is not None and not way.any():
            raise BadSetting("key: normal has no length: give a direction, such as 0,0,1")
        shortest = None if self.height else SHORTEST_PIN
        giving = Giving(self.clearance, max(self.thinnest, 0.05), self.trim, self.relieve)
        return hair_keyed(piece, self.hair, self.part or HAIR, way, self._pins(breadth), shortest, giving, progress)

    def _pins(self, breadth: float) -> "Pins":
        from ...geometry.solids.pins import Pins

        height = self.height or 0.06 * breadth
        pin = self.pin or max(0.06 * breadth, THINNEST_PIN)
        draft, wall = np.radians(self.draft), max(self.thinnest, 0.05)
        return Pins(self.pins, pin, height, self.clearance, draft, min(self.lead, height / 4), wall, BEARING)
