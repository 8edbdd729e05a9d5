"""What the steps that work on placed eyes have in common."""

from typing import TYPE_CHECKING

import numpy as np

from ...geometry.progress import SILENT, Progress
from ..step import Step
from ..workpiece import EYES_FOUND, Check, Eye, Workpiece

if TYPE_CHECKING:
    from ...anatomy.sockets.socket import Pocket


class EyeStep(Step):
    """A step that has nothing to do on a head where place-eyes looked for eyes and found none."""

    def apply(self, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
        """The workpiece after this step; as it is where it has no eyes."""
        piece.needed_head()
        return self.on_eyes(piece, progress) if piece.needed_eyes() else piece

    def on_eyes(self, piece: Workpiece, progress: Progress) -> Workpiece:
        """The workpiece after this step, which has at least one eye."""
        raise NotImplementedError


def pocket_of(eye: Eye) -> "Pocket":
    """The place of an eye as carve-sockets left it."""
    from ...anatomy.eyes.eye import EyeShape
    from ...anatomy.sockets.socket import Pocket

    centre, gaze = np.array(eye.centre), np.array(eye.gaze)
    half = eye.form == "half-round"
    return Pocket(centre, gaze, EyeShape(eye.diameter), eye.clearance, half, eye.seat_gap, eye.bore_length)


def without_eye(piece: Workpiece, side: str, why: str, advice: str) -> Workpiece:
    """The workpiece with one eye given up, its side of the head left whole, and a finding nobody can overlook."""
    eyes = tuple(eye for eye in piece.eyes if eye.side != side)
    others = tuple(check for check in piece.checks if check.name != EYES_FOUND)
    finding = Check(EYES_FOUND, len(eyes), 2, "eyes", False, f"the {side} eye", True, advice)
    return piece.but(eyes=eyes, checks=(*others, finding)).noted(
        f"The {side} eye gets no socket, the head stays closed there: {why}; {advice}"
    )
