"""Steps run in a child process, so that the window that asked for them keeps drawing.

The folder holds `in.npz` (the workpiece) and `steps.json` ([{"step": name, setting: value}]). The child says one JSON
line at a time on standard output, {"fraction": ..., "what": ...} or {"error": ...}, and leaves `out.npz`.
"""

import json
import os
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from ..geometry.errors import BadFile, CanthusError
from ..geometry.progress import Progress
from ..steps.catalogue import step_named
from ..steps.step import Step
from ..steps.workpiece import Workpiece
from . import store
from .plain import plain
from .run import run

IN, STEPS, OUT = "in.npz", "steps.json", "out.npz"


def hand_over(folder: Path, piece: Workpiece, steps: Sequence[Step]) -> None:
    """Lay down what the child needs."""
    store.save(folder / IN, piece)
    asked = [{"step": step.NAME, **plain(step.values())} for step in steps]
    (folder / STEPS).write_text(json.dumps(asked), encoding="utf-8")


def take_back(folder: Path) -> Workpiece:
    """The workpiece the child left."""
    return store.load(folder / OUT)


def main(folder: Path) -> int:
    """Do the work laid down in the folder. 0 done, 2 where a step said why not (its line is the last one)."""
    try:
        asked = json.loads((folder / STEPS).read_text(encoding="utf-8"))
        piece = run(steps_of(asked), store.load(folder / IN), Progress(_say_progress))
    except CanthusError as error:
        _say({"error": str(error)})
        return 2
    waiting = folder / (OUT + ".part")
    store.save(waiting, piece)
    os.replace(waiting, folder / OUT)
    return 0


def steps_of(asked: Sequence[Mapping[str, Any]]) -> list[Step]:
    """The steps of a list of {"step": name, setting: value}.

    Raises
    ------
    BadSetting
        An unknown step or setting, or a value out of range.
    BadFile
        An entry without a step's name.
    """
    steps = []
    for number, entry in enumerate(asked, start=1):
        if "step" not in entry:
            raise BadFile(f"step {number} has no name: write step = its name")
        values = {name: value for name, value in entry.items() if name != "step"}
        steps.append(step_named(str(entry["step"])).made_from(values))
    return steps


def _say_progress(fraction: float, what: str) -> None:
    _say({"fraction": round(fraction, 4), "what": what})


def _say(words: dict[str, Any]) -> None:
    sys.stdout.write(json.dumps(words) + "\n")
    sys.stdout.flush()
