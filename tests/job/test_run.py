from dataclasses import dataclass
from typing import ClassVar

import numpy as np
import pytest
from canthus.geometry.errors import NotPossible
from canthus.geometry.progress import SILENT, Cancelled, Progress
from canthus.job.memory import PER_STEP, PeakMemory
from canthus.job.run import run, run_step
from canthus.steps.step import Step, setting
from canthus.steps.workpiece import Workpiece

from .conftest import Close, Load, Look


@dataclass(frozen=True)
class Hoard(Step):
    """Hold a lot of memory for a moment."""

    NAME: ClassVar[str] = "hoard"
    STAGE: ClassVar[str] = "clean"
    megabytes: int = setting(64, low=1, high=1000, help="How much")

    def apply(self, piece, progress=SILENT):
        held = np.ones((self.megabytes, 1 << 17))  # 1 MB a row
        return piece.measured(total=float(held.sum()))


def test_history_holds_settings_figures_and_cost():
    after = run([Load(units="cm"), Close(rounds=5)], Workpiece())
    assert [done.name for done in after.history] == ["load", "close"]
    done = after.history[1]
    assert done.settings["rounds"] == 5
    assert done.figures == {"triangles": 320, "gap_mm": 0.25}  # 20 * 4**2 faces
    assert done.seconds >= 0
    assert done.peak_mb > 10
    assert after.figures == {}


def test_progress_names_the_step_and_runs_from_0_to_1():
    heard = []
    run([Load(), Close()], Workpiece(), Progress(lambda fraction, what: heard.append((fraction, what))))
    fractions = [fraction for fraction, _ in heard]
    assert fractions == sorted(fractions)
    assert fractions[0] == 0
    assert fractions[-1] == 1
    assert (0.75, "close: closing") in heard


@pytest.mark.parametrize("stop_at", range(6))
def test_cancelling_anywhere_leaves_the_workpiece_as_it_was(stop_at):
    calls = []

    def listen(fraction, what):
        if len(calls) == stop_at:
            raise Cancelled
        calls.append(what)

    piece = Workpiece(name="before")
    with pytest.raises(Cancelled):
        run([Load(), Close()], piece, Progress(listen))
    assert piece == Workpiece(name="before")


def test_a_step_that_cannot_leaves_the_workpiece_as_it_was():
    piece = run([Close()], Workpiece())
    with pytest.raises(NotPossible, match="wider than the head"):
        run([Look(least=50.0)], piece)
    assert len(piece.history) == 1


def test_a_spared_step_that_cannot_is_left_out_and_said_so():
    head = run([Close()], Workpiece())
    left = run([Look(least=50.0)], head, spared=("check",))
    assert "wider than the head" in left.history[1].figures["left_out"]
    assert any("check was left out" in note for note in left.notes)
    assert [(each.name, each.ok, each.grave) for each in left.checks] == [("check was done", False, True)]
    assert left.head is head.head
    again = run([Look()], left, spared=("check",))
    assert [each.name for each in again.checks] == ["least wall"]


def test_peak_memory_is_that_of_the_step_alone():
    large = run_step(Hoard(megabytes=300), Workpiece()).history[0].peak_mb
    small = run_step(Hoard(megabytes=10), Workpiece()).history[0].peak_mb
    if PeakMemory().meaning == PER_STEP:
        assert large - small == pytest.approx(290, abs=60)
    else:
        assert large >= 300
