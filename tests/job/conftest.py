"""A workshop of small steps, so that the job is tested whatever the real ones do."""

from dataclasses import dataclass
from typing import ClassVar

import numpy as np
import pytest
from canthus.files.writing import write
from canthus.geometry.errors import NotPossible
from canthus.geometry.progress import SILENT
from canthus.geometry.solids.primitives import box, icosphere
from canthus.job import arguments, chain, listing
from canthus.steps import catalogue
from canthus.steps.step import Step, setting
from canthus.steps.workpiece import Check, Eye, Landmark


@dataclass(frozen=True)
class Load(Step):
    """Take the scan in."""

    NAME: ClassVar[str] = "load"
    STAGE: ClassVar[str] = "intake"

    units: str = setting("auto", choices=("auto", "mm", "cm"), help="Unit of the file")

    def apply(self, piece, progress=SILENT):
        progress(0.5, "looking")
        factor = 10.0 if self.units == "cm" else 1.0
        units = "mm" if self.units == "auto" else self.units
        return piece.moved(np.diag([factor] * 3 + [1.0])).but(units_in=units)


@dataclass(frozen=True)
class Close(Step):
    """Close it, and mark what is known."""

    NAME: ClassVar[str] = "close"
    STAGE: ClassVar[str] = "surface"

    resolution: float = setting(0.5, low=0.1, high=5.0, unit="mm", at="life", help="Finest detail kept, 100 % of it")
    sharp: bool = setting(True, help="Keep creases")
    way: tuple[float, ...] = setting((), kind="point", help="Direction of the crown")
    rounds: int = setting(3, low=1, high=9, help="How often")
    guide: str = setting("", kind="path", help="Landmarks to follow")
    note: str = setting('say "it" at 20 °C', help="Free text")

    def apply(self, piece, progress=SILENT):
        progress(0.5, "closing")
        head = icosphere(2, 10.0)
        marks = {"vertex": Landmark((0.0, 0.0, 10.0), 0.4, "proposed")}
        opening = np.arange(12.0).reshape(4, 3)
        eyes = (Eye("left", (3.0, -8.0, 0.0), clearance=0.1, sources=("lids",), opening=opening),)
        part = box((0, 0, 0), (1, 2, 3))
        made = piece.but(head=head, skin=head, landmarks=marks, eyes=eyes, parts={"eye-left": part})
        return made.measured(triangles=np.int64(len(head.triangles)), gap_mm=np.float64(0.25)).noted("closed the neck")


@dataclass(frozen=True)
class Look(Step):
    """Look whether it can be printed."""

    NAME: ClassVar[str] = "check"
    STAGE: ClassVar[str] = "output"

    least: float = setting(1.0, low=0.0, high=50.0, unit="mm", at="print", help="Thinnest wall allowed")

    def apply(self, piece, progress=SILENT):
        if self.least == 50.0:
            raise NotPossible("the wall is wider than the head: set least lower")
        ok = self.least <= 10.0
        return piece.but(checks=(Check("least wall", 10.0, self.least, "mm", ok, (0.0, 1.0, 2.0)),))


STEPS = (Load, Close, Look)


@pytest.fixture
def workshop(monkeypatch):
    """The faces see only the small steps."""
    for module in (catalogue, arguments, chain, listing):
        monkeypatch.setattr(module, "all_steps", lambda: STEPS)
    return STEPS


@pytest.fixture
def scan(tmp_path):
    """A scan of a ball in a folder of its own."""
    folder = tmp_path / "scans"
    folder.mkdir()
    path = folder / "ball.ply"
    write(path, icosphere(2, 12.0))
    return path
