"""The whole job: scans in; parts, report, recipe and scene out."""

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from ..files.parts import ready_for_files
from ..files.writing import write
from ..geometry.errors import BadFile, BadMesh, BadSetting, NotReady
from ..geometry.progress import SILENT, Progress
from ..steps.catalogue import all_steps, step_named
from ..steps.step import Step
from ..steps.workpiece import Check, Workpiece
from .page import page
from .plain import as_json
from .recipe import Input, Recipe, fingerprint, input_at, named_files, read, written
from .report import printable, report
from .run import run
from .sidecar import scanned
from .staging import staged
from .studio import Picture, Studio
from .versions import own_version

CHAIN = (
    *("load", "cull-strays", "cull-lashes", "merge-layers", "denoise"),
    *("close", "landmarks", "pose", "measure", "scale"),
    *("place-eyes", "rebuild-lids", "carve-sockets", "make-eyes"),
    *("neck", "hollow", "key", "vent", "check"),
)
"""The steps of the whole job, in order."""

WITHOUT_BLENDER = "Without Blender the pictures and the .blend are left out"


@dataclass(frozen=True)
class Order:
    """What was asked for. `settings` is step to setting to value; `skipped` are steps of the chain left out."""

    scans: tuple[Path, ...]
    out: Path
    name: str = ""
    recipe: Path | None = None
    settings: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    skipped: tuple[str, ...] = ()
    overwrite: bool = False


@dataclass(frozen=True)
class Outcome:
    """What came of it: the workpiece, the report's figures, and what was left out, each in a sentence."""

    piece: Workpiece
    figures: Mapping[str, Any]
    left_out: tuple[str, ...]

    @property
    def printable(self) -> bool:
        """Whether no check found what should not be printed."""
        return printable(self.piece)


def make(order: Order, progress: Progress = SILENT, studio: Studio | None = None) -> Outcome:
    """Run the chain, or a recipe, and write the results.

    Parameters
    ----------
    order : scans, output folder, settings
    progress : told the step and what it is doing
    studio : takes the pictures and saves the scene; None where there is no Blender

    Returns
    -------
    The finished workpiece and its figures. In the output folder: `parts/*.stl`, `NAME.3mf`, `NAME.blend`,
    `report.html`, `report.json`, `recipe.toml`.

    Raises
    ------
    CanthusError
        A scan cannot be read, a setting is wrong, a step cannot do its work, results are in the way.
    Cancelled
        The listener stopped the work. Nothing is left on disk.
    """
    recipe = _recipe(order)
    _refuse_overwriting(order, recipe.name)
    progress(0.0, "reading the scan")
    scans = _scans(order, recipe)
    piece = fit_for_files(run(recipe.steps, scanned(scans).but(name=recipe.name), progress.stretch(0.02, 0.75)))
    pictures = [] if studio is None else studio.pictures(piece, progress.stretch(0.75, 0.97))
    left_out = () if studio else (WITHOUT_BLENDER,)
    progress(0.97, "writing the results")
    with staged(order.out) as waiting:
        recipe = _with_fingerprints(recipe, scans, order.out)
        figures = _written(waiting, piece, pictures, left_out)
        text = written(recipe, own_version(), order.out)
        (waiting / "recipe.toml").write_text(text, encoding="utf-8")
        if studio is not None:
            studio.save_blend(piece, waiting / f"{piece.name}.blend")
        progress(1.0, "done")
    return Outcome(piece, figures, left_out)


def fit_for_files(piece: Workpiece) -> Workpiece:
    """Every part on the 32-bit numbers of the files, so that what is reported and shown is what is printed.

    A part that cannot leave closed is left as it is, with a finding that forbids printing it.

    Raises
    ------
    NotReady
        There is no part at all.
    """
    if not piece.all_parts():
        raise NotReady("these steps make no part: leave close in")
    ready, findings = {}, []
    for name, part in piece.all_parts().items():
        try:
            ready[name] = ready_for_files(name, part)
        except BadMesh as fault:
            ready[name] = part
            findings.append(Check(f"{name}: closed, outward, fit for files", 0, 1, "", False, name, True, str(fault)))
    head = ready.pop("head", None)
    return piece.but(head=head, parts=ready, checks=(*piece.checks, *findings))


def chain(settings: Mapping[str, Mapping[str, Any]], skipped: Sequence[str] = ()) -> tuple[Step, ...]:
    """The steps of the whole job with these settings.

    Raises
    ------
    BadSetting
        A step that is not in the chain is set or skipped; an unknown setting, or a value out of range.
    """
    for name in (*settings, *skipped):
        step_named(name)
        if name not in CHAIN:
            raise BadSetting(f"{name} is no step of the whole job: run it by itself, canthus {name}")
    there = {step.NAME for step in all_steps()}
    names = [name for name in CHAIN if name in there and name not in skipped]
    return tuple(step_named(name).made_from(settings.get(name, {})) for name in names)


def _recipe(order: Order) -> Recipe:
    """The job to be done: that of the recipe file with the settings of the order, or the chain."""
    if order.recipe is None:
        if not order.scans:
            raise BadFile("no scan given: name one, or a recipe that names it")
        return Recipe(order.name or order.scans[0].stem, (), chain(order.settings, order.skipped))
    recipe = read(order.recipe)
    absent = set(order.settings) - {step.NAME for step in recipe.steps}
    if absent:
        raise BadSetting(f"{order.recipe.name} has no step {sorted(absent)[0]}: leave its setting out")
    steps = [
        type(step).made_from({**step.values(), **order.settings.get(step.NAME, {})})
        for step in recipe.steps
        if step.NAME not in order.skipped
    ]
    named_anew = {str(value) for values in order.settings.values() for value in values.values()}
    kept = {file.resolve() for step in steps for file in named_files(step).values() if str(file) not in named_anew}
    files = [each for each in recipe.files if (order.recipe.parent / each.path).resolve() in kept]
    _refuse_changed(order.recipe, files)
    return dataclasses.replace(recipe, name=order.name or recipe.name, steps=tuple(steps))


def _scans(order: Order, recipe: Recipe) -> tuple[Path, ...]:
    """The scans of the order, or those the recipe was made from, which must still be the same files."""
    if order.scans or order.recipe is None:
        return order.scans
    paths = tuple(order.recipe.parent / each.path for each in recipe.inputs)
    if not paths:
        raise BadFile(f"{order.recipe.name} names no scan: give one")
    _refuse_changed(order.recipe, recipe.inputs)
    return paths


def _refuse_changed(recipe: Path, inputs: Sequence[Input]) -> None:
    for each in inputs:
        if fingerprint(recipe.parent / each.path) != each.sha256:
            name = Path(each.path).name
            raise BadFile(f"{name} is not the file {recipe.name} was made from: name it again to use it as it is now")


def _with_fingerprints(recipe: Recipe, scans: Sequence[Path], folder: Path) -> Recipe:
    """The recipe with the files it depends on, as seen from its folder."""
    files = sorted({file for step in recipe.steps for file in named_files(step).values()})
    return dataclasses.replace(
        recipe,
        inputs=tuple(input_at(scan, folder) for scan in scans),
        files=tuple(input_at(file, folder) for file in files),
    )


def _refuse_overwriting(order: Order, name: str) -> None:
    results = ("parts", f"{name}.3mf", f"{name}.blend", "report.html", "report.json", "recipe.toml")
    in_the_way = [result for result in results if (order.out / result).exists()]
    if in_the_way and not order.overwrite:
        raise BadFile(f"{order.out} already holds {in_the_way[0]}: name another folder, or say --overwrite")


def _written(folder: Path, piece: Workpiece, pictures: Sequence[Picture], left_out: tuple[str, ...]) -> dict[str, Any]:
    """Write the parts and the report, and give the report's figures."""
    parts = piece.all_parts()
    files = {name: f"parts/{name}.stl" for name in parts}
    (folder / "parts").mkdir()
    for name, part in parts.items():
        write(folder / files[name], part)
    thumbnail = pictures[0].png if pictures else None
    write(folder / f"{piece.name}.3mf", parts, thumbnail=thumbnail)
    figures = report(piece, files, left_out)
    (folder / "report.json").write_text(as_json(figures, indent=1) + "\n", encoding="utf-8")
    (folder / "report.html").write_text(page(figures, pictures), encoding="utf-8")
    return figures
