"""What flows from step to step: the scan, the head, its landmarks and eyes, the parts, and how it got here."""

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..geometry.cloud import Cloud
from ..geometry.errors import NotReady
from ..geometry.mesh import Mesh

GAP = "gap to the socket"
"""What the check's finding on the gap round an eye is called, after the eye's name."""
EYES_FOUND = "eyes found"
"""Name of the finding by which place-eyes says that a head shows no eyes: later steps then have none to work on."""


@dataclass(frozen=True)
class Landmark:
    """A named place on the head: (x, y, z) in the workpiece's millimetres, and how far it can be trusted.

    `confidence` runs from 0 to 1; below `SURE` the landmark is shown as weak. `source` is "proposed", "placed"
    (by hand), "file" or "photographs".
    """

    position: tuple[float, float, float]
    confidence: float = 1.0
    source: str = "placed"

    SURE = 0.5

    @property
    def sure(self) -> bool:
        """Whether later steps may rely on it without asking."""
        return self.confidence >= self.SURE


@dataclass(frozen=True)
class Eye:
    """One eye as it will be made. `side` is the sitter's own left or right. Lengths as the workpiece stands.

    `diameter` is that of the eye that goes in; `clearance` the gap all round between it and its pocket, so the
    pocket's radius is diameter / 2 + clearance. `centre` is the globe's centre, `gaze` a unit vector out of it.
    `uncertainty` is how far the centre may be off, root mean square, `sources` what it was found from. `opening` is the
    aperture between the lids: the margin as a closed curve of (k, 3) points, once found.
    """

    side: str
    centre: tuple[float, float, float]
    gaze: tuple[float, float, float] = (0.0, -1.0, 0.0)
    diameter: float = 24.0
    clearance: float = 0.0
    uncertainty: float = 0.0
    sources: tuple[str, ...] = ()
    opening: NDArray[np.float64] | None = field(default=None, compare=False)
    bore_length: float = 0.0
    """Length of the way the eye travels in from the hollow; 0 for an eye that goes in from the front."""
    form: str = "round"
    """"round" or "half-round" with a flat back, as its socket was carved."""
    seat_gap: float | None = None
    """Gap between the eye and the ring or ledge it rests on; None where it has none."""

    @property
    def pocket_radius(self) -> float:
        """Radius of the sphere cut into the head."""
        return self.diameter / 2 + self.clearance


@dataclass(frozen=True)
class Check:
    """One finding: `ok` compares `value` with `limit`; `grave` findings make the head unfit to print."""

    name: str
    value: float
    limit: float
    unit: str
    ok: bool
    where: tuple[float, float, float] | str = ""
    grave: bool = True
    advice: str = ""


@dataclass(frozen=True)
class Done:
    """A step that was run: its settings, what it measured, what it cost."""

    name: str
    settings: Mapping[str, Any]
    figures: Mapping[str, Any] = field(default_factory=dict)
    seconds: float = 0.0
    peak_mb: float = 0.0


@dataclass(frozen=True)
class Workpiece:
    """Everything known of one head. Immutable: a step returns another one.

    Lengths are millimetres at life size until `scale` brings all of it to print size and sets `scale`. From then on
    they are the finished print's; `shrinkage` is the share by which the resin shrinks, and only what is exported is
    larger by it.

    `scan` is what the scanner gave, cleaned so far; `head` the closed head being worked on, from `close` on;
    `skin` the closed head before anything was cut into it, which deviation and thickness are judged against;
    `parts` the finished parts besides the head ("eye-left"). `frame` is the (4, 4) transform from the file's own
    coordinates, in its own unit, to the workpiece's. `figures` holds what the running step has measured.
    """

    name: str = "head"
    scan: Cloud | Mesh | None = None
    head: Mesh | None = None
    skin: Mesh | None = None
    landmarks: Mapping[str, Landmark] = field(default_factory=dict)
    eyes: tuple[Eye, ...] = ()
    parts: Mapping[str, Mesh] = field(default_factory=dict)
    checks: tuple[Check, ...] = ()
    scale: float = 1.0
    shrinkage: float = 0.0
    units_in: str = "mm"
    frame: NDArray[np.float64] = field(default_factory=lambda: np.eye(4), compare=False)
    notes: tuple[str, ...] = ()
    figures: Mapping[str, Any] = field(default_factory=dict)
    history: tuple[Done, ...] = ()

    def but(self, **changes: Any) -> "Workpiece":
        """The workpiece with these fields changed."""
        return dataclasses.replace(self, **changes)

    def measured(self, **figures: Any) -> "Workpiece":
        """The workpiece with figures of the running step added; a unit belongs in the figure's name."""
        return self.but(figures={**self.figures, **figures})

    def noted(self, note: str) -> "Workpiece":
        """The workpiece with a sentence the report must show (what was changed, and why)."""
        return self.but(notes=(*self.notes, note))

    def moved(self, matrix: NDArray[np.float64]) -> "Workpiece":
        """Everything under a (4, 4) rigid or similarity transform, lengths of eyes included."""
        factor = float(np.cbrt(abs(np.linalg.det(matrix[:3, :3]))))

        def point(place: tuple[float, float, float]) -> tuple[float, float, float]:
            x, y, z = (matrix[:3, :3] @ np.asarray(place) + matrix[:3, 3]).tolist()
            return x, y, z

        def direction(way: tuple[float, float, float]) -> tuple[float, float, float]:
            x, y, z = (matrix[:3, :3] @ np.asarray(way) / factor).tolist()
            return x, y, z

        eyes = tuple(
            dataclasses.replace(
                eye,
                centre=point(eye.centre),
                gaze=direction(eye.gaze),
                diameter=eye.diameter * factor,
                clearance=eye.clearance * factor,
                uncertainty=eye.uncertainty * factor,
                bore_length=eye.bore_length * factor,
                seat_gap=None if eye.seat_gap is None else eye.seat_gap * factor,
                opening=None if eye.opening is None else eye.opening @ matrix[:3, :3].T + matrix[:3, 3],
            )
            for eye in self.eyes
        )
        return self.but(
            scan=None if self.scan is None else self.scan.moved(matrix),
            head=None if self.head is None else self.head.moved(matrix),
            skin=None if self.skin is None else self.skin.moved(matrix),
            landmarks={
                name: dataclasses.replace(mark, position=point(mark.position)) for name, mark in self.landmarks.items()
            },
            eyes=eyes,
            parts={name: part.moved(matrix) for name, part in self.parts.items()},
            frame=matrix @ self.frame,
        )

    def needed_head(self) -> Mesh:
        """The closed head, or `NotReady` saying which step makes it."""
        if self.head is None:
            raise NotReady("there is no closed head yet: run close first")
        return self.head

    def needed_eyes(self) -> tuple[Eye, ...]:
        """The placed eyes, or `NotReady` saying which step places them; none where it looked and found none."""
        if not self.eyes and all(check.name != EYES_FOUND for check in self.checks):
            raise NotReady("no eyes are placed yet: run place-eyes first")
        return self.eyes

    def needed_landmark(self, name: str) -> NDArray[np.float64]:
        """(3,) position of a landmark, or `NotReady` naming it."""
        if name not in self.landmarks:
            raise NotReady(f"landmark {name} is missing: run landmarks, or place it by hand")
        return np.asarray(self.landmarks[name].position)

    def all_parts(self) -> dict[str, Mesh]:
        """Every part that leaves the house: the head first, then the rest by name."""
        head = {} if self.head is None else {"head": self.head}
        return {**head, **{name: self.parts[name] for name in sorted(self.parts)}}
