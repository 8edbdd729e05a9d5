"""What a studio does for the job: it takes the pictures of the report and saves the scene. The host room is one."""

from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from ..geometry.progress import Progress
from ..steps.workpiece import Workpiece

FINDING = "finding-"
"""Begins the name of a picture of a finding; the finding's row among the workpiece's checks follows it."""


@dataclass(frozen=True)
class Picture:
    """One picture for the report. `name` is plain ASCII ("eye-left-front"), `title` a caption, `png` the bytes."""

    name: str
    title: str
    png: bytes


class Studio(Protocol):
    """Whoever can photograph a workpiece. Without one the report has no pictures and there is no .blend."""

    def pictures(self, piece: Workpiece, progress: Progress) -> list[Picture]:
        """The pictures of the report in the order they are shown; what the workpiece lacks is left out."""

    def save_blend(self, piece: Workpiece, path: Path) -> None:
        """Save a scene that holds the workpiece and opens looking at the head. Never leaves half a file."""
