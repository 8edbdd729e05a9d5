"""The step that makes the eyes."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ...geometry.errors import NotPossible, NotReady
from ...geometry.mesh import Mesh
from ...geometry.progress import Progress
from ..kinds import kinds
from ..step import setting
from ..workpiece import Eye, Workpiece
from .each_eye import EyeStep, pocket_of

_MARKS = {"left": 1, "right": 2}  # grooves across the eye's back


@dataclass(frozen=True)
class MakeEyes(EyeStep):
    """Make a left and a right eye that fit the sockets, as parts of their own or fused in the head."""

    NAME = "make-eyes"
    STAGE = "eyes"
    NEEDS = ("eyes",)
    READS = kinds("eyes", "frame", "head", "scale")
    CHANGES = kinds("parts")

    form: str = setting(
        "socket",
        choices=("socket", "round", "half-round", "fixed"),
        help="As the socket was carved, full-round, half-round with a flat back, or fixed in the head to be painted",
    )
    stem: str = setting(
        "round", choices=("round", "always", "never"), help="Handling stem behind full-round eyes, all eyes, or none"
    )
    iris: str = setting(
        "bulge",
        choices=("bulge", "sunk"),
        help="A solid cornea with the pupil scribed on it, or a recess to paint and dome",
    )
    domes: bool = setting(False, help="Make the clear domes for sunk irises as parts of their own")

    @classmethod
    def changed_with(cls, settings: Mapping[str, Any]) -> frozenset[str]:
        """The head too where eyes are made one with it."""
        return cls.CHANGES | kinds("head") if settings.get("form") == "fixed" else cls.CHANGES

    def on_eyes(self, piece: Workpiece, progress: Progress) -> Workpiece:
        """The workpiece with the eyes among its parts, in their assembled place."""
        from ...anatomy.eyes.eye import EyeShape

        made = piece
        for number, eye in enumerate(piece.eyes):
            progress(number / 2, f"making the {eye.side} eye")
            if not eye.clearance and not eye.bore_length:
                raise NotReady(f"make-eyes: the {eye.side} eye has no socket: run carve-sockets first")
            made = self._with_eye(made, number, eye)
        shape = EyeShape(piece.eyes[0].diameter)
        return made.measured(
            eye_diameter_mm=shape.diameter,
            limbus_diameter_mm=2 * shape.limbus,
            corneal_height_mm=shape.apex - shape.limbus_ahead,
            corneal_bulge_mm=shape.apex - shape.sclera,
            iris_is_sunk=self.iris == "sunk",
        )

    def _with_eye(self, piece: Workpiece, number: int, eye: Eye) -> Workpiece:
        """The workpiece with one eye, its dome and its ring, or with the eye fused in the head."""
        from ...anatomy.sockets.eye_making import laid, made_dome, made_eye

        pocket, sunk, fixed = pocket_of(eye), self.iris == "sunk", self.form == "fixed"
        half = fixed or self._half(eye)
        stem = not fixed and self._stem(eye, half)
        solid = made_eye(pocket.shape, half=half, stem=stem, sunk_iris=sunk, marks=0 if fixed else _MARKS[eye.side])
        solid = laid(solid, pocket.centre, pocket.gaze)
        gap = _least_gap(piece.needed_head(), eye, solid, half)
        piece = piece.measured(**{f"{eye.side}_least_gap_mm": gap})
        if gap <= 0:
            piece = piece.noted(f"the {eye.side} eye touches the head in its socket: carve it with more clearance")
        if fixed:
            eyes = list(piece.eyes)
            eyes[number] = replace(eye, bore_length=0.0, seat_gap=None)
            return piece.but(head=_fixed(piece.needed_head(), solid, eye), eyes=tuple(eyes))
        parts = {**piece.parts, f"eye-{eye.side}": solid}
        if sunk and self.domes:
            parts[f"dome-{eye.side}"] = laid(made_dome(pocket.shape), pocket.centre, pocket.gaze)
        if pocket.seat and pocket.length:
            parts[f"seat-{eye.side}"] = laid(pocket.seat.ring(), pocket.centre, pocket.gaze)
        return piece.but(parts=parts)

    def _half(self, eye: Eye) -> bool:
        """Whether the eye is made half-round, or `NotPossible` where its socket is not for that."""
        wanted = eye.form if self.form == "socket" else self.form
        if wanted != eye.form and (eye.seat_gap is not None or (wanted == "round" and not eye.bore_length)):
            raise NotPossible(
                f"make-eyes: the {eye.side} socket is carved for a {eye.form} eye: carve it with form {wanted}"
            )
        return wanted == "half-round"

    def _stem(self, eye: Eye, half: bool) -> bool:
        """Whether the eye gets a stem, or `NotPossible` where its socket has no room for one."""
        if self.stem == "always" and not eye.bore_length:
            raise NotPossible(
                f"make-eyes: the {eye.side} socket is closed behind: carve it with entry behind for a stem"
            )
        return eye.bore_length > 0 and (self.stem == "always" or (self.stem == "round" and not half))


def _least_gap(head: Mesh, eye: Eye, solid: Mesh, half: bool) -> float:
    """Least distance between eye and head, mm; where the head stands within the eye, below 0 by how deep."""
    from ...anatomy.eyes.eye import EyeShape
    from ...anatomy.sockets.eye_seat import FLAT
    from ..output.gaps import least_gap

    away = head.vertices - np.array(eye.centre)
    near = (away**2).sum(axis=1) < (eye.pocket_radius + eye.diameter / 4) ** 2
    distances = np.linalg.norm(away[near], axis=1)
    cosines = away[near] @ np.array(eye.gaze) / np.maximum(distances, 1e-12)
    reach = EyeShape(eye.diameter).reach(cosines)
    if half:  # as far as the flat back and no farther
        reach = np.where(cosines < 0, np.minimum(reach, FLAT * eye.diameter / 2 / np.maximum(-cosines, 1e-12)), reach)
    within = float((distances - reach).min(initial=np.inf))
    about = near.take(head.triangles).any(axis=1)
    return within if within < 0 or not about.any() else least_gap(solid, head.kept(about))[0]


def _fixed(head: Mesh, solid: Mesh, eye: Eye) -> Mesh:
    """The head with the eye fused into its socket: pocket and bore filled behind, the gap to the lids left open."""
    from ...anatomy.sockets.eye_making import plug
    from ...geometry.solids.booleans import union

    pocket = pocket_of(eye)
    return union(head, plug(pocket.from_behind(max(pocket.length, pocket.shortest))), solid)
