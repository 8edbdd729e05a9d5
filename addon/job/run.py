"""Runs steps in order on a workpiece, and notes what each measured and cost."""

import time
from collections.abc import Collection, Sequence

from ..geometry.errors import BadMesh, CanthusError, NotPossible, NotReady
from ..geometry.libraries import told_if_missing
from ..geometry.progress import SILENT, Progress
from ..steps.step import Step
from ..steps.workpiece import Check, Done, Workpiece
from .memory import PeakMemory
from .plain import plain


def run(
    steps: Sequence[Step], piece: Workpiece, progress: Progress = SILENT, spared: Collection[str] = ()
) -> Workpiece:
    """The workpiece after all steps, each written down in its history.

    Parameters
    ----------
    steps : the steps, in the order they are to be run
    piece : the workpiece; it is not changed
    progress : told the step's name and what it is doing
    spared : names of steps whose refusal does not end the work: the piece goes on without what they would have done,
        with a grave finding that says which and why

    Returns
    -------
    Another workpiece. Its `history` is longer by one `Done` a step, holding the settings, the figures the step
    measured, its seconds and its peak memory in MB.

    Raises
    ------
    CanthusError
        A step that is not spared cannot do its work; the text begins with its name.
    Cancelled
        The listener stopped the work. `piece` is as it was.
    """
    for number, step in enumerate(steps):
        own = progress.stretch(number / len(steps), (number + 1) / len(steps))
        try:
            piece = run_step(step, piece, own)
        except (NotReady, NotPossible, BadMesh) as refusal:
            if step.NAME not in spared:
                raise
            piece = _without(step, piece, str(refusal))
    return piece


def _without(step: Step, piece: Workpiece, why: str) -> Workpiece:
    """The workpiece as it was, and what everybody must know: this step was left out, and why."""
    why = why.removeprefix(f"{step.NAME}: ")
    finding = Check(_was_done(step), 0, 1, "", False, "the whole head", True, why)
    return piece.but(
        checks=(*piece.checks, finding),
        notes=(*piece.notes, f"{step.NAME} was left out: {why}"),
        history=(*piece.history, Done(step.NAME, plain(step.values()), {"left_out": why})),
    )


def _was_done(step: Step) -> str:
    """Name of the finding that a step was left out."""
    return f"{step.NAME} was done"


def run_step(step: Step, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
    """The workpiece after one step, as `run` has it."""

    def named(fraction: float, what: str) -> None:
        progress(fraction, f"{step.NAME}: {what}")

    progress(0.0, step.NAME)
    peak = PeakMemory()
    begun = time.perf_counter()
    try:
        with told_if_missing():
            after = step.apply(piece.but(figures={}), Progress(named))
    except CanthusError as fault:
        told = str(fault)
        raise type(fault)(told if told.startswith(f"{step.NAME}:") else f"{step.NAME}: {told}") from fault
    seconds = time.perf_counter() - begun
    done = Done(step.NAME, plain(step.values()), plain(after.figures), round(seconds, 3), round(peak.megabytes(), 1))
    progress(1.0, f"{step.NAME} done")
    checks = tuple(check for check in after.checks if check.name != _was_done(step))
    return after.but(figures={}, checks=checks, history=(*after.history, done))
