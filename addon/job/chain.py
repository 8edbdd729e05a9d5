"""The whole job as a list of steps: the one place that says which, and in what order."""

from collections.abc import Mapping, Sequence
from typing import Any

from ..geometry.errors import BadSetting
from ..steps.catalogue import all_steps, step_named
from ..steps.step import Step

CHAIN = (
    *("load", "assess", "register", "cull-strays", "cull-lashes", "merge-layers", "denoise"),
    *("close", "landmarks", "pose", "measure", "scale"),
    *("place-eyes", "rebuild-lids", "carve-sockets", "make-eyes"),
    *("neck", "hollow", "key", "vent", "check"),
)
"""The steps of the whole job, in order."""

SPARED = CHAIN[CHAIN.index("landmarks") :]
"""Steps without which the job goes on: a head that shows no eyes can still be hollowed, and the report says what is
missing. What comes before them makes the head itself."""

FOR_SEVERAL_PASSES = ("register",)
"""Steps that one pass has no need of."""


def steps_for(passes: int = 1) -> list[type[Step]]:
    """The steps of the whole job that there are, for one pass or for several."""
    there = {step.NAME: step for step in all_steps()}
    needless = FOR_SEVERAL_PASSES if passes == 1 else ()
    return [there[name] for name in CHAIN if name in there and name not in needless]


def chain(settings: Mapping[str, Mapping[str, Any]], skipped: Sequence[str] = (), passes: int = 1) -> tuple[Step, ...]:
    """The steps of the whole job with these settings, for one pass or several.

    Raises
    ------
    BadSetting
        A step that is not in the chain is set or skipped; an unknown setting, or a value out of range.
    """
    for name in (*settings, *skipped):
        step_named(name)
        if name not in CHAIN:
            raise BadSetting(f"{name} is no step of the whole job: run it by itself, canthus {name}")
    wanted = [step for step in steps_for(passes) if step.NAME not in skipped]
    return tuple(step.made_from(settings.get(step.NAME, {})) for step in wanted)
