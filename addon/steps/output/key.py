"""The step that parts the head so that eyes and hands can get inside, with a rim that fits one way only."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from ...anatomy.parting import clear_of_face, parting_plane
from ...geometry.errors import BadSetting
from ...geometry.progress import SILENT, Progress
from ...geometry.sections import Plane, plane
from ..step import Step, setting
from ..workpiece import Workpiece

if TYPE_CHECKING:
    from ...geometry.spigot import Parted

NOTCH_BEARING = np.radians(62.0)
"""Where the notch is, from the sitter's left towards the back: off the middle, in no plane of symmetry."""


@dataclass(frozen=True)
class Key(Step):
    """Part the skull cap off the head, with a rim that goes together one way, so that the eyes go in from behind."""

    NAME: ClassVar[str] = "key"
    STAGE: ClassVar[str] = "output"

    part: str = setting("skull-cap", help="Name of the part taken off")
    raise_by: float = setting(
        0.0, low=-200.0, high=200.0, unit="mm", at="print", help="Move the parting up, or down (-)"
    )
    tilt: float = setting(0.0, low=-60.0, high=60.0, unit="deg", help="Turn the parting; positive raises its front")
    origin: tuple[float, ...] = setting(
        (), kind="point", help="A point of another plane to part at, with normal: x,y,z"
    )
    normal: tuple[float, ...] = setting(
        (), kind="point", help="Direction in which the part comes off, with origin: x,y,z"
    )
    height: float = setting(
        0.0, low=0.0, high=50.0, unit="mm", at="print", help="Of the rim's spigot; 0 suits the head"
    )
    clearance: float = setting(0.1, low=0.0, high=2.0, unit="mm", at="print", help="Gap between the parts all round")
    draft: float = setting(2.0, low=0.0, high=20.0, unit="deg", help="Least slope of the spigot's side")
    lead: float = setting(
        0.15, low=0.0, high=3.0, unit="mm", at="print", help="Narrowing at the spigot's top, to find its way in"
    )
    rim: float = setting(
        1.2, low=0.3, high=20.0, unit="mm", at="print", help="Most of the wall left outside the spigot"
    )
    notch: float = setting(
        0.0, low=0.0, high=50.0, unit="mm", at="print", help="Width of the notch that keys it; 0 suits the head"
    )
    thinnest: float = setting(
        0.4, low=0.0, high=5.0, unit="mm", at="print", help="Wall under which the rim is remarked on"
    )

    def apply(self, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
        """The workpiece with the head parted in two."""
        from ...geometry.spigot import Spigot, parted

        progress(0.0, "looking for the parting")
        head = piece.needed_head()
        marks = {name: np.asarray(mark.position) for name, mark in piece.landmarks.items() if mark.sure}
        cut = self._plane(piece, marks)
        breadth = float(np.ptp(head.vertices[:, 0]))
        height = self.height or 0.06 * breadth
        shape = Spigot(
            height,
            self.clearance,
            np.radians(self.draft),
            min(self.lead, height / 4),
            self.rim,
            self.notch or 0.14 * breadth,
            NOTCH_BEARING,
        )
        halves = parted(head, _centred(piece, cut), shape, progress.stretch(0.2, 1.0))
        figures: dict[str, Any] = {
            "cut_at_mm": cut.origin.round(4).tolist(),
            "cut_up": cut.up.round(6).tolist(),
            "spigot_mm": height,
            "clearance_mm": self.clearance,
            "collar_wall_mm": halves.collar_wall,
            "spigot_wall_mm": halves.spigot_wall,
            "opening_mm": halves.opening,
        }
        piece = piece.but(head=halves.below, parts={**piece.parts, self.part: halves.above}).measured(**figures)
        for remark in self._remarks(piece, cut, marks, halves):
            piece = piece.noted(remark)
        return piece

    def _plane(self, piece: Workpiece, marks: dict[str, NDArray[np.float64]]) -> Plane:
        if bool(self.origin) != bool(self.normal):
            raise BadSetting("key: origin and normal go together: give both or neither")
        if self.origin:
            if not np.any(self.normal):
                raise BadSetting("key: normal has no length: give a direction, such as 0,0,1")
            up = np.asarray(self.normal) / np.linalg.norm(self.normal)
            return plane(np.asarray(self.origin) + self.raise_by * up, up)
        return parting_plane(piece.needed_head(), marks, self.raise_by, np.radians(self.tilt))

    def _remarks(
        self, piece: Workpiece, cut: Plane, marks: dict[str, NDArray[np.float64]], halves: "Parted"
    ) -> list[str]:
        remarks = []
        wall = min(halves.collar_wall, halves.spigot_wall)
        if not clear_of_face(cut, marks):
            remarks.append("The parting line crosses the face or the ears: raise it (raise_by) or tilt it")
        if wall < self.thinnest:
            remarks.append(
                f"The rim of the parting is only {wall:.2f} mm thick at its thinnest: "
                "a thicker wall or less clearance helps"
            )
        rings = [part for name, part in piece.parts.items() if name.startswith("seat-")]
        widest = [eye.diameter for eye in piece.eyes if eye.bore_length > 0]
        largest = max(widest + [float(np.ptp(ring.vertices, axis=0).max()) for ring in rings], default=0.0)
        if largest > halves.opening:
            remarks.append(
                f"The eyes of {largest:.1f} mm do not pass through the parting's opening of {halves.opening:.1f} mm: "
                "lower it (raise_by), or hollow the head first"
            )
        return remarks


def _centred(piece: Workpiece, cut: Plane) -> Plane:
    """The same plane, its origin moved to the middle of the head's outline on it."""
    from ...geometry.errors import NotPossible
    from ...geometry.sections import section

    outlines = [outline for outline in section(piece.needed_head(), cut) if outline.area > 0]
    if not outlines:
        x, y, z = cut.origin
        raise NotPossible(f"key: the plane at ({x:.1f}, {y:.1f}, {z:.1f}) misses the head: move it (raise_by)")
    return Plane(cut.placed(outlines[0].centroid[None])[0], cut.across, cut.along)
