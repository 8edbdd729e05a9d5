"""The step that makes the eyes."""

from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np

from ...geometry.errors import NotReady
from ...geometry.mesh import Mesh
from ...geometry.progress import SILENT, Progress
from ..step import Step, setting
from ..workpiece import Eye, Workpiece

_MARKS = {"left": 1, "right": 2}  # grooves across the stem's end


@dataclass(frozen=True)
class MakeEyes(Step):
    """Make a left and a right eye that fit the sockets, as parts of their own or fused in the head."""

    NAME: ClassVar[str] = "make-eyes"
    STAGE: ClassVar[str] = "eyes"

    form: str = setting(
        "round",
        choices=("round", "half-round", "fixed"),
        help="Full-round on a stem, half-round with a flat back, or fixed in the head to be painted in place",
    )
    iris: str = setting(
        "bulge",
        choices=("bulge", "sunk"),
        help="A solid cornea with the pupil scribed on it, or a recess to paint and dome",
    )
    domes: bool = setting(False, help="Make the clear domes for sunk irises as parts of their own")

    def apply(self, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
        """The workpiece with the eyes among its parts, in their assembled place."""
        from ...anatomy.eye import EyeShape
        from ...anatomy.eye_making import laid, made_dome, made_eye

        head, parts = piece.needed_head(), dict(piece.parts)
        if not piece.needed_eyes():
            return piece
        eyes, made = [], piece
        for number, eye in enumerate(piece.needed_eyes()):
            progress(number / 2, f"making the {eye.side} eye")
            if not eye.clearance and not eye.bore_length:
                raise NotReady(f"make-eyes: the {eye.side} eye has no socket: run carve-sockets first")
            shape, centre, gaze = EyeShape(eye.diameter), np.array(eye.centre), np.array(eye.gaze)
            sunk, flat = self.iris == "sunk", self.form != "round"
            solid = laid(made_eye(shape, flat_back=flat, sunk_iris=sunk, marks=_MARKS[eye.side]), centre, gaze)
            gap = _least_gap(head, eye, solid)
            made = made.measured(**{f"{eye.side}_least_gap_mm": gap})
            if gap <= 0:
                made = made.noted(f"the {eye.side} eye touches the head in its socket: carve it with more clearance")
            if self.form == "fixed":
                head, eye = _fixed(head, solid, eye), replace(eye, bore_length=0.0)
            else:
                parts[f"eye-{eye.side}"] = solid
                if sunk and self.domes:
                    parts[f"dome-{eye.side}"] = laid(made_dome(shape), centre, gaze)
            eyes.append(eye)
        shape = EyeShape(eyes[0].diameter)
        return made.but(head=head, parts=parts, eyes=tuple(eyes)).measured(
            eye_diameter_mm=shape.diameter,
            limbus_diameter_mm=2 * shape.limbus,
            corneal_height_mm=shape.apex - shape.limbus_ahead,
            corneal_bulge_mm=shape.apex - shape.sclera,
            iris_is_sunk=self.iris == "sunk",
        )


def _least_gap(head: Mesh, eye: Eye, solid: Mesh) -> float:
    """Least distance from the eye's surface to the head's vertices, negative where they stand within it, mm."""
    from scipy.spatial import KDTree

    from ...anatomy.eye import EyeShape

    away = head.vertices - np.array(eye.centre)
    distances = np.linalg.norm(away, axis=1)
    near = distances < eye.pocket_radius + eye.clearance + eye.diameter / 4
    away, distances = away[near], distances[near]
    reach = EyeShape(eye.diameter).reach(away @ np.array(eye.gaze) / np.maximum(distances, 1e-12))
    if not len(away):
        return float("inf")
    within = float((distances - reach).min())
    return within if within < 0 else min(within, float(KDTree(solid.vertices).query(head.vertices[near])[0].min()))


def _fixed(head: Mesh, solid: Mesh, eye: Eye) -> Mesh:
    """The head with the eye fused into its socket: pocket and bore filled behind, the gap to the lids left open."""
    from ...anatomy.eye_making import plug
    from ...anatomy.eye_path import eye_bore
    from ...geometry.booleans import union

    centre, gaze = np.array(eye.centre), np.array(eye.gaze)
    bore = eye_bore(centre, gaze, eye.pocket_radius, max(eye.bore_length, eye.pocket_radius))
    return union(head, plug(centre, gaze, eye.pocket_radius, bore), solid)
