"""The step that sets the head upright, face forward."""

import dataclasses
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...anatomy.face.frame import PROFILES_DIFFER, HeadFrame, frame_of_directions, head_frame
from ...anatomy.face.proportions import mean_head
from ...geometry.cloud import Cloud
from ...geometry.errors import BadSetting, NotReady
from ...geometry.progress import SILENT, Progress
from ...geometry.transforms import transform
from ..kinds import kinds
from ..step import Step, setting
from ..workpiece import Workpiece
from .surface import surface_of


@dataclass(frozen=True)
class Pose(Step):
    """Set the head on the Frankfurt horizontal, face forward, from its landmarks.

    The face looks towards -y, up is +z, the sitter's left is +x; the origin lies midway between the tragia. Only
    sure landmarks count; where they are too few to tell how the head nods, a mean face is laid over it. `up` and
    `front` are for scans on which nothing can be found: two directions of the workpiece as it stands, and the origin
    then lies in the middle of the box round it.
    """

    NAME = "pose"
    STAGE = "pose"
    LIGHT = True
    NEEDS = ("scan or head",)
    READS = kinds("landmarks")
    CHANGES = kinds("frame")

    up: tuple[float, ...] = setting((), kind="point", help="Direction of the crown, instead of the landmarks: x,y,z")
    front: tuple[float, ...] = setting((), kind="point", help="Direction the face looks in, instead of the landmarks")

    def apply(self, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
        """The workpiece in its posed frame."""
        progress(0.0, "posing")
        frame = self._frame(piece, progress)
        turn = np.degrees(np.arccos(np.clip((np.trace(frame.matrix[:3, :3]) - 1) / 2, -1, 1)))
        posed = piece.moved(frame.matrix).measured(
            turned_deg=float(turn), asymmetry_mm=frame.asymmetry, frankfurt=frame.exact, posed_from=frame.how
        )
        if frame.by:
            posed = posed.measured(posed_by=", ".join(frame.by))
        sure = ""
        if frame.nod is not None:
            posed = posed.measured(nod_uncertainty_deg=frame.nod)
            sure = f"; its nod is right to about {frame.nod:.1f} degrees"
        if frame.exact:
            return posed.noted(f"Posed on the Frankfurt horizontal, by {frame.how}{sure}")
        return posed.noted(f"The pose is not the Frankfurt horizontal itself: {frame.how}{sure}")

    def _frame(self, piece: Workpiece, progress: Progress) -> HeadFrame:
        if bool(self.up) != bool(self.front):
            raise BadSetting("pose: up and front go together: give both or neither")
        if self.up:
            return frame_of_directions(np.asarray(self.up), np.asarray(self.front), _middle(piece))
        life = {name: np.asarray(mark.position) / piece.scale for name, mark in piece.landmarks.items() if mark.sure}
        try:
            frame: HeadFrame | None = head_frame(life)
        except NotReady:
            frame = None
        if frame is None or not (frame.exact or _tall_enough(life)):
            frame = self._from_the_face(piece, progress) or frame
        if frame is None:
            raise NotReady(
                "pose: too few sure landmarks and no face recognised: place the eye corners of both sides and the chin "
                "by hand (landmarks --at), or say which way the crown and the face point (pose --up --front)"
            )
        return dataclasses.replace(frame, matrix=transform(frame.matrix[:3, :3], frame.matrix[:3, 3] * piece.scale))

    def _from_the_face(self, piece: Workpiece, progress: Progress) -> HeadFrame | None:
        """The frame of a mean face laid over the surface, where the landmarks do not tell how the head nods."""
        from ...anatomy.face.face_pose import straight_face

        surface = surface_of(piece)
        if surface is None:
            return None
        found = straight_face(surface.moved(np.diag([*[1.0 / piece.scale] * 3, 1.0])), progress)
        if found is None:
            return None
        how = "a mean face laid over the surface, its symmetry plane the face's own"
        return HeadFrame(found.pose, False, how, found.asymmetry / found.enlarged, PROFILES_DIFFER)


def _tall_enough(names: Iterable[str]) -> bool:
    """Whether these landmarks span enough height and depth of a mean head for the nod to be told from them."""
    mean = mean_head()
    places = np.array([mean[name][1:] for name in names])
    return bool(np.linalg.norm(places.max(axis=0) - places.min(axis=0)) > 45.0)


def _middle(piece: Workpiece) -> NDArray[np.float64]:
    """(3,) middle of the box round the head, or round the scan where there is no head yet."""
    shape = piece.head if piece.head is not None else piece.scan
    if shape is None:
        raise NotReady("pose: there is neither a head nor a scan: load one first")
    points = shape.points if isinstance(shape, Cloud) else shape.vertices
    middle: NDArray[np.float64] = (points.min(axis=0) + points.max(axis=0)) / 2
    return middle
