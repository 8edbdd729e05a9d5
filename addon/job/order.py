"""What was asked for, made into a recipe and the scans it is for."""

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from ..geometry.errors import BadFile, BadSetting
from .chain import chain
from .recipe import Input, Recipe, fingerprint, named_files, read


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


def recipe_of(order: Order) -> Recipe:
    """The job to be done: that of the recipe file with the settings of the order, or the chain.

    Raises
    ------
    BadFile
        No scan and no recipe, or a file a setting names is not what it was.
    BadSetting
        An unknown step or setting, or a value out of range.
    """
    if order.recipe is None:
        if not order.scans:
            raise BadFile("no scan given: name one, or a recipe that names it")
        return Recipe(order.name or order.scans[0].stem, (), chain(order.settings, order.skipped, len(order.scans)))
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
    return dataclasses.replace(recipe, name=order.name or _name_of(order, recipe), steps=tuple(steps))


def _name_of(order: Order, recipe: Recipe) -> str:
    """The recipe's name for the scans it was made from; another head goes by its own."""
    if not order.scans or [fingerprint(scan) for scan in order.scans] == [each.sha256 for each in recipe.inputs]:
        return recipe.name
    return order.scans[0].stem


def scans_of(order: Order, recipe: Recipe) -> tuple[Path, ...]:
    """The scans of the order, or those the recipe was made from, which must still be the same files.

    Raises
    ------
    BadFile
        A scan is not there, or not what it was.
    """
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


def refuse_overwriting(order: Order, name: str) -> None:
    """Say before the work, not after, that results of an earlier run are in the way. Raises `BadFile`."""
    results = ("parts", f"{name}.3mf", f"{name}.blend", "report.html", "report.json", "recipe.toml", "likeness.ply")
    in_the_way = [result for result in results if (order.out / result).exists()]
    if in_the_way and not order.overwrite:
        raise BadFile(f"{order.out} already holds {in_the_way[0]}: name another folder, or say --overwrite")
