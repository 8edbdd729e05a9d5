"""The command line: `canthus`, `python -m canthus` and `blender --command canthus` all come in here."""

import argparse
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from ..geometry.errors import BadSetting, CanthusError
from ..geometry.progress import Cancelled
from ..steps.catalogue import step_named
from .arguments import parser, settings_in, tied
from .listing import listing, listing_figures
from .order import Order
from .plain import as_json
from .studio import Studio
from .terminal import figure_lines, progress_on
from .versions import own_version
from .wording import finding_text

DONE, NOT_PRINTABLE, FAULT, STOPPED = 0, 1, 2, 130


def main(argv: Sequence[str], studio: Studio | None = None) -> int:
    """Do what the command line says.

    Parameters
    ----------
    argv : the words after the program's name
    studio : takes the pictures and saves the scene of the whole job; None where there is no Blender

    Returns
    -------
    0 done; 1 the check found what should not be printed, files are written all the same; 2 bad usage or unreadable
    input, told in one line on standard error; 130 stopped with Ctrl-C, nothing written.
    """
    try:
        options, strange = parser(own_version()).parse_known_args(tied(list(argv)))
    except SystemExit as end:  # how argparse ends after --help, --version and bad usage
        return end.code if isinstance(end.code, int) else FAULT
    if strange:
        known = f"see canthus {options.command} --help"
        print(f"canthus {options.command}: takes no {' '.join(strange)} ({known})", file=sys.stderr)
        return FAULT
    try:
        if options.command == "steps":
            return _steps(options)
        if options.command == "compare":
            return _compare(options)
        if options.command == "make":
            return _make(options, studio)
        return _step(options)
    except CanthusError as error:
        print(f"canthus {options.command}: {str(error).removeprefix(options.command + ': ')}", file=sys.stderr)
        return FAULT
    except (KeyboardInterrupt, Cancelled):
        print(f"canthus {options.command}: stopped, nothing written", file=sys.stderr)
        return STOPPED


def _steps(options: argparse.Namespace) -> int:
    print(as_json(listing_figures(), indent=1) if options.json else listing())
    return DONE


def _compare(options: argparse.Namespace) -> int:
    from .compare import compare
    from .sidecar import refuse_unwritable

    if options.output is not None:
        refuse_unwritable(options.output, options.overwrite)
    told = progress_on(sys.stderr)
    figures = compare(options.a, options.b, options.output, told, options.fit, options.landmarks, options.reach)
    _show(figures, options.json)
    return DONE


def _step(options: argparse.Namespace) -> int:
    from .report import finding, printable
    from .run import run_step
    from .sidecar import piece_in, refuse_unwritable, write_out

    step = step_named(options.command).made_from(settings_in(options))
    if options.output is not None:
        refuse_unwritable(options.output, step.values().get("overwrite", False) or getattr(options, "overwrite", False))
    before = piece_in(options.inputs, getattr(options, "units", "mm"))
    after = run_step(step, before, progress_on(sys.stderr))
    if options.output is not None:
        write_out(options.output, before, after)
    done = after.history[-1]
    figures = {**done.figures, "seconds": done.seconds, "peak_mb": done.peak_mb}
    if after.checks != before.checks:
        figures["checks"] = [finding(check) for check in after.checks]
    _show({**figures, "notes": list(after.notes[len(before.notes) :])}, options.json)
    return DONE if printable(after) else NOT_PRINTABLE


def _make(options: argparse.Namespace, studio: Studio | None) -> int:
    from .make import make

    outcome = make(_order(options), progress_on(sys.stderr), studio)
    for sentence in outcome.left_out:
        print(sentence, file=sys.stderr)
    if options.json:
        print(as_json(outcome.figures))
    else:
        _summary(options.out, outcome.figures)
    return DONE if outcome.printable else NOT_PRINTABLE


def _order(options: argparse.Namespace) -> Order:
    settings: dict[str, dict[str, Any]] = {}
    for text in options.set:
        place, equals, value = text.partition("=")
        step, dot, name = place.partition(".")
        if not (equals and dot):
            raise BadSetting(f"--set takes STEP.SETTING=VALUE, not {text!r}")
        settings.setdefault(step, {})[name.replace("-", "_")] = value
    shorthands = {"scale": ("scale", "ratio"), "units": ("load", "units"), "wall": ("hollow", "wall")}
    files = {"landmarks": ("landmarks", "file"), "photographs": ("place-eyes", "photographs")}
    for option, (step, name) in {**shorthands, **files}.items():
        if getattr(options, option) is not None:
            settings.setdefault(step, {})[name] = getattr(options, option)
    return Order(
        tuple(options.scans),
        options.out,
        options.name or "",
        options.recipe,
        settings,
        tuple(options.skip),
        options.overwrite,
    )


def _show(figures: Mapping[str, Any], json: bool) -> None:
    if json:
        print(as_json(figures))
        return
    lines = figure_lines({name: value for name, value in figures.items() if name not in ("checks", "notes")})
    print("\n".join([*lines, *_failed(figures.get("checks", [])), *figures.get("notes", [])]))


def _summary(folder: Path, figures: Mapping[str, Any]) -> None:
    """What a person wants to know when the job is done."""
    print(f"{figures['name']}: {len(figures['parts'])} parts in {folder}, {figures['seconds']:.0f} s")
    for part in figures["parts"]:
        print(f"  {part['name']:<12} {part['volume_mm3'] / 1000:8.2f} ml  {part['triangles']:>9,} triangles")
    for line in _failed(figures["checks"]):
        print(line)


def _failed(checks: Sequence[Mapping[str, Any]]) -> list[str]:
    """One line for each finding that is not as it should be."""
    return [
        f"  {'do not print' if check['grave'] else 'look at'}: {finding_text(check)}"
        for check in checks
        if not check["ok"]
    ]
