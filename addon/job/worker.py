"""Steps run in a child process, so that the window that asked for them keeps drawing.

The folder holds `in.npz` (the workpiece) and `steps.json` ({"steps": [{"step": name, setting: value}],
"spared": [name]}, spared as `run` has it). The child says one JSON line at a time on standard output,
{"fraction": ..., "what": ...} or {"error": ...}, and leaves `out.npz`.
"""

import json
import os
import sys
from collections.abc import Callable, Collection, Sequence
from pathlib import Path
from typing import Any

from ..geometry.errors import CanthusError
from ..geometry.progress import Progress
from ..steps.step import Step
from ..steps.workpiece import Workpiece
from . import store
from .errands import errand_or_step
from .recipe import entry_of
from .run import run

IN, STEPS, OUT = "in.npz", "steps.json", "out.npz"


def hand_over(folder: Path, piece: Workpiece, steps: Sequence[Step], spared: Collection[str] = ()) -> None:
    """Lay down what the child needs."""
    store.save(folder / IN, piece)
    order = {"steps": [entry_of(step) for step in steps], "spared": sorted(spared)}
    (folder / STEPS).write_text(json.dumps(order), encoding="utf-8")


def take_back(folder: Path) -> Workpiece:
    """The workpiece the child left."""
    return store.load(folder / OUT)


def main(folder: Path) -> int:
    """Do the work laid down in the folder. 0 done, 2 where a step said why not (its line is the last one)."""
    try:
        order = json.loads((folder / STEPS).read_text(encoding="utf-8"))
        steps = [errand_or_step(entry) for entry in order["steps"]]
        piece = run(steps, store.load(folder / IN), Progress(_told_to(os.getppid())), order["spared"])
    except CanthusError as error:
        _say({"error": str(error)})
        return 2
    waiting = folder / (OUT + ".part")
    store.save(waiting, piece)
    os.replace(waiting, folder / OUT)
    return 0


def _told_to(parent: int) -> Callable[[float, str], None]:
    """Who is told how far it is; where the process that asked for the work is gone, so is the work."""

    def say_progress(fraction: float, what: str) -> None:
        if os.getppid() != parent:
            raise SystemExit(3)
        _say({"fraction": round(fraction, 4), "what": what})

    return say_progress


def _say(words: dict[str, Any]) -> None:
    sys.stdout.write(json.dumps(words) + "\n")
    sys.stdout.flush()
