"""The recipe: which steps were run on which files, with every setting; enough to do it again."""

import dataclasses
import hashlib
import os
import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..geometry.errors import BadFile, BadSetting
from ..steps.catalogue import step_named
from ..steps.step import Setting, Step
from .plain import plain
from .toml import toml_value

FORMAT = 1


@dataclass(frozen=True)
class Input:
    """A file the job started from. `path` is as the recipe spells it: from the recipe's own folder."""

    path: str
    sha256: str


@dataclass(frozen=True)
class Recipe:
    """A job as it was done: the name of the head, the scans, the steps in order, the files their settings name."""

    name: str
    inputs: tuple[Input, ...]
    steps: tuple[Step, ...]
    files: tuple[Input, ...] = ()


def fingerprint(path: Path) -> str:
    """The SHA-256 of a file, as hexadecimal text. Raises `BadFile` where it cannot be read."""
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise BadFile(f"{path.name}: {error.strerror or error}") from None


def input_at(path: Path, folder: Path) -> Input:
    """The input entry of a file, for a recipe that will lie in `folder`."""
    return Input(_seen_from(folder, path), fingerprint(path))


def written(recipe: Recipe, version: str, folder: Path) -> str:
    """The recipe as TOML for a file in `folder`: each setting with its unit and range in a comment."""
    lines = ["# Canthus recipe. Run it again: canthus make --recipe recipe.toml --out FOLDER", ""]
    lines += [f"format = {FORMAT}", f"canthus = {toml_value(version)}", f"name = {toml_value(recipe.name)}"]
    for scan in recipe.inputs:
        lines += ["", "[[input]]", f"file = {toml_value(scan.path)}", f"sha256 = {toml_value(scan.sha256)}"]
    for file in recipe.files:
        lines += ["", "[[file]]", f"file = {toml_value(file.path)}", f"sha256 = {toml_value(file.sha256)}"]
    for step in recipe.steps:
        lines += ["", "[[step]]", f"step = {toml_value(step.NAME)}  # {step.summary()}"]
        for each in step.settings():
            value = plain(getattr(step, each.name))
            named = _seen_from(folder, Path(value)) if _names_a_file(each, step) else value
            lines.append(f"{each.name} = {toml_value(named)}{_remark(each)}")
    return "\n".join(lines) + "\n"


def read(path: Path) -> Recipe:
    """The recipe in a file.

    Raises
    ------
    BadFile
        No TOML, or of a format this version does not know.
    BadSetting
        An unknown step or setting, or a value out of range; the text names the line.
    """
    try:
        text = path.read_text(encoding="utf-8")
        content = tomllib.loads(text)
    except OSError as error:
        raise BadFile(f"{path.name}: {error.strerror or error}") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise BadFile(f"{path.name}: no recipe: {error}") from None
    if content.get("format") != FORMAT:
        raise BadFile(f"{path.name}: recipe of format {content.get('format')!r}: this version reads format {FORMAT}")
    _refuse_strangers(path, text, content)
    steps = [_step_at(path, text, number, entry) for number, entry in enumerate(content.get("step", []))]
    try:
        inputs, files = (
            tuple(Input(str(each["file"]), str(each["sha256"])) for each in content.get(kind, []))
            for kind in ("input", "file")
        )
    except KeyError as error:
        raise BadFile(f"{path.name}: an [[input]] or [[file]] lacks {error}") from None
    return Recipe(str(content.get("name", "head")), inputs, tuple(steps), files)


def for_another(history: Sequence[Mapping[str, Any]]) -> tuple[Step, ...]:
    """The steps of a history as they are to be done to the next head.

    Without what was only written, which would go over the files of the head before: no `export`, nothing under `save`.

    Parameters
    ----------
    history : steps done, each {"name": ..., "settings": {...}, ...}

    Raises
    ------
    BadSetting
        A step or setting that this version does not know.
    """
    return tuple(
        step_of({"step": done["name"], **{name: value for name, value in done["settings"].items() if name != "save"}})
        for done in history
        if done["name"] != "export"
    )


def named_files(step: Step) -> dict[str, Path]:
    """Setting to file, for the settings of a step that name one."""
    return {each.name: Path(getattr(step, each.name)) for each in step.settings() if _names_a_file(each, step)}


def step_of(entry: Mapping[str, Any]) -> Step:
    """The step of an entry {"step": name, setting: value, ...}. Raises `BadSetting`."""
    if "step" not in entry:
        raise BadSetting("a step without a name: write step = its name")
    values = {name: value for name, value in entry.items() if name != "step"}
    return step_named(str(entry["step"])).made_from(values)


def entry_of(step: Step) -> dict[str, Any]:
    """The entry that `step_of` makes the step from, in plain values."""
    return {"step": step.NAME, **plain(step.values())}


def _names_a_file(each: Setting, step: Step) -> bool:
    return each.kind == "path" and bool(getattr(step, each.name))


def _seen_from(folder: Path, path: Path) -> str:
    """The way from the recipe's folder to a file, with forward slashes."""
    try:
        return os.path.relpath(path, folder).replace(os.sep, "/")
    except ValueError:  # another drive: there is no way from here to there
        return str(path.resolve())


def _remark(each: Setting) -> str:
    """Unit, range and help of a setting, as a comment."""
    parts = [each.unit]
    if each.at:
        parts.append(f"at {each.at} size")
    if each.low is not None and each.high is not None:
        parts.append(f"from {each.low:g} to {each.high:g}")
    if each.choices:
        parts.append(" | ".join(each.choices))
    parts.append(each.help)
    return "  # " + ", ".join(part for part in parts if part)


def _refuse_strangers(path: Path, text: str, content: Mapping[str, Any]) -> None:
    for name in content:
        if name not in ("format", "canthus", "name", "input", "file", "step"):
            line = _line_of(text.splitlines(), rf"^\s*\[*\s*{re.escape(name)}\b", 0)
            raise BadSetting(f"{path.name}, line {line}: a recipe has no {name!r}")


def _step_at(path: Path, text: str, number: int, entry: Mapping[str, Any]) -> Step:
    """The step of the nth [[step]]; what is wrong with it is told with its line."""
    try:
        step = step_of(entry)
        return dataclasses.replace(step, **{name: str(path.parent / file) for name, file in named_files(step).items()})
    except BadSetting as error:
        raise BadSetting(f"{path.name}, line {_line_at_fault(text, number, entry, str(error))}: {error}") from None


def _line_at_fault(text: str, number: int, entry: Mapping[str, Any], fault: str) -> int:
    """The line of the setting the fault names, or of the step's name, in the nth [[step]] of the text."""
    lines = text.splitlines()
    heads = [row for row, line in enumerate(lines) if re.match(r"\s*\[\[\s*step\s*\]\]", line)]
    start = heads[number] if number < len(heads) else 0
    blamed = [word for word in re.findall(r"\w+", fault) if word in entry and word != "step"]
    return _line_of(lines, rf"^\s*{re.escape(blamed[0] if blamed else 'step')}\s*=", start)


def _line_of(lines: Sequence[str], pattern: str, start: int) -> int:
    """Number, from 1, of the first line from row `start` on that fits; that of the start where none does."""
    return next((row + 1 for row in range(start, len(lines)) if re.match(pattern, lines[row])), start + 1)
