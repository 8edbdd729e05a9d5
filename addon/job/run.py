"""Runs steps in order on a workpiece, and notes what each measured and cost."""

import time
from collections.abc import Sequence

from ..geometry.errors import CanthusError
from ..geometry.progress import SILENT, Progress
from ..steps.step import Step
from ..steps.workpiece import Done, Workpiece
from .memory import PeakMemory
from .plain import plain


def run(steps: Sequence[Step], piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
    """The workpiece after all steps, each written down in its history.

    Parameters
    ----------
    steps : the steps, in the order they are to be run
    piece : the workpiece; it is not changed
    progress : told the step's name and what it is doing

    Returns
    -------
    Another workpiece. Its `history` is longer by one `Done` a step, holding the settings, the figures the step
    measured, its seconds and its peak memory in MB.

    Raises
    ------
    CanthusError
        A step cannot do its work; the text begins with its name.
    Cancelled
        The listener stopped the work. `piece` is as it was.
    """
    for number, step in enumerate(steps):
        piece = run_step(step, piece, progress.stretch(number / len(steps), (number + 1) / len(steps)))
    return piece


def run_step(step: Step, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
    """The workpiece after one step, as `run` has it."""

    def named(fraction: float, what: str) -> None:
        progress(fraction, f"{step.NAME}: {what}")

    progress(0.0, step.NAME)
    peak = PeakMemory()
    begun = time.perf_counter()
    try:
        after = step.apply(piece.but(figures={}), Progress(named))
    except CanthusError as fault:
        told = str(fault)
        raise type(fault)(told if told.startswith(f"{step.NAME}:") else f"{step.NAME}: {told}") from fault
    seconds = time.perf_counter() - begun
    done = Done(step.NAME, plain(step.values()), plain(after.figures), round(seconds, 3), round(peak.megabytes(), 1))
    progress(1.0, f"{step.NAME} done")
    return after.but(figures={}, history=(*after.history, done))
