"""The command line, made from the catalogue: a sub-command for each step, an option for each of its settings."""

import argparse
from pathlib import Path
from typing import Any, NoReturn

from ..steps.catalogue import all_steps
from ..steps.step import Setting, Step
from .listing import default_text, range_text, unit_text

SETTING = "setting:"
"""Put before a setting's name, so that a step may have a setting called like an option of ours."""


class Parser(argparse.ArgumentParser):
    """Says what is wrong in one line."""

    def error(self, message: str) -> NoReturn:
        """One line on standard error, exit status 2."""
        self.exit(2, f"{self.prog}: {message} (see {self.prog} --help)\n")


def parser(version: str) -> argparse.ArgumentParser:
    """The parser of the whole command line."""
    top = Parser(
        prog="canthus",
        description="From a raw 3D scan of a person's head to a portrait head that can be printed.",
        allow_abbrev=False,
    )
    top.add_argument("--version", action="version", version=f"canthus {version}")
    commands = top.add_subparsers(dest="command", metavar="COMMAND", required=True, parser_class=Parser)
    _add_make(commands.add_parser("make", help="The whole job: scans in, printable parts out", allow_abbrev=False))
    steps = commands.add_parser("steps", help="List the steps, their settings, units and ranges", allow_abbrev=False)
    steps.add_argument("--json", action="store_true", help="as one JSON object")
    _add_compare(commands.add_parser("compare", help="Signed deviation of A from B, with figures", allow_abbrev=False))
    for step in all_steps():
        _add_step(commands.add_parser(step.NAME, help=_safe(step.summary()), allow_abbrev=False), step)
    return top


def settings_in(options: argparse.Namespace) -> dict[str, Any]:
    """The settings that were given, by name, as typed."""
    return {name.removeprefix(SETTING): value for name, value in vars(options).items() if name.startswith(SETTING)}


def tied(words: list[str]) -> list[str]:
    """Tie a value that starts with a minus to its option: `--place -1,2,3` becomes `--place=-1,2,3`."""
    result: list[str] = []
    for word in words:
        starts_number = len(word) > 1 and word[0] == "-" and (word[1].isdigit() or word[1] == ".")
        if starts_number and result and result[-1].startswith("--") and "=" not in result[-1]:
            result[-1] = f"{result[-1]}={word}"
        else:
            result.append(word)
    return result


def _add_make(make: argparse.ArgumentParser) -> None:
    make.description = "Run the whole chain on one scan, or on several passes of one head that already fit together."
    make.add_argument(
        "scans", metavar="SCAN", nargs="*", type=Path, help="PLY, OBJ, STL, XYZ or 3MF; none: those of the recipe"
    )
    make.add_argument("--out", metavar="DIR", type=Path, required=True, help="folder for parts, report and recipe")
    make.add_argument("--recipe", metavar="FILE", type=Path, help="do again what a recipe.toml says")
    make.add_argument("--name", help="name of the head, of the .3mf and the .blend (default: that of the scan)")
    make.add_argument("--scale", metavar="RATIO", help="print size over life size, such as 1/6")
    make.add_argument(
        "--units", metavar="UNIT", help="what the scan is in: mm, cm, m or in (default: told from its size)"
    )
    make.add_argument("--landmarks", metavar="FILE", help="landmarks placed elsewhere")
    make.add_argument("--photographs", metavar="FILE", help="photographs of the sitter, marked to place the eyes by")
    make.add_argument("--wall", metavar="MM", help="wall of the hollow head at print size")
    make.add_argument(
        "--set",
        metavar="STEP.SETTING=VALUE",
        action="append",
        default=[],
        help="any setting of any step, as canthus steps lists them; may be given many times",
    )
    make.add_argument("--skip", metavar="STEP", action="append", default=[], help="leave a step out; may be repeated")
    make.add_argument("--overwrite", action="store_true", help="replace the results of an earlier run in DIR")
    make.add_argument("--json", action="store_true", help="print the report as one JSON object")


def _add_compare(compare: argparse.ArgumentParser) -> None:
    compare.add_argument("a", metavar="A", type=Path, help="the mesh or cloud that is judged")
    compare.add_argument("b", metavar="B", type=Path, help="the surface it is judged against")
    compare.add_argument(
        "-o",
        "--output",
        metavar="FILE",
        type=Path,
        help="A coloured by its deviation (.ply), and its picture with a legend (.png)",
    )
    compare.add_argument(
        "--fit", metavar="WHAT", default="none", help="fit A to B first: all, or a region such as nose"
    )
    compare.add_argument(
        "--landmarks", metavar="FILE", type=Path, help="A's landmarks, to tell its regions (default: those beside A)"
    )
    compare.add_argument(
        "--reach", metavar="MM", type=float, default=0.0, help="where the colours are full (default: from B's surface)"
    )
    _add_overwrite(compare)
    compare.add_argument("--json", action="store_true", help="print the figures as one JSON object")


def _add_overwrite(command: argparse.ArgumentParser) -> None:
    command.add_argument("--overwrite", action="store_true", help="replace OUTPUT where it is there already")


def _add_step(sub: argparse.ArgumentParser, step: type[Step]) -> None:
    sub.description = _safe(step.summary())
    sub.add_argument("inputs", metavar="INPUT", nargs="+", type=Path, help="PLY, OBJ, STL, XYZ or 3MF; several: passes")
    sub.add_argument(
        "-o", "--output", metavar="OUTPUT", type=Path, help="where the result goes; the suffix is the format"
    )
    sub.add_argument("--json", action="store_true", help="print the figures as one JSON object")
    settings = list(step.settings())
    if "overwrite" not in [each.name for each in settings]:
        _add_overwrite(sub)
    if "units" not in [each.name for each in settings]:
        sub.add_argument("--units", metavar="UNIT", default="mm", help="what the input is in: mm, cm, m or in (mm)")
    group = sub.add_argument_group("settings")
    for each in settings:
        _add_setting(group, each)


def _add_setting(group: Any, each: Setting) -> None:
    common = {"dest": SETTING + each.name, "default": argparse.SUPPRESS, "help": _safe(_help(each))}
    if each.kind == "bool":
        group.add_argument(each.flag, action=argparse.BooleanOptionalAction, **common)
    else:
        group.add_argument(each.flag, metavar=_metavar(each), **common)


def _metavar(each: Setting) -> str:
    words = {"int": "N", "ratio": "RATIO", "path": "FILE", "point": "X,Y,Z", "text": "TEXT"}
    return words.get(each.kind, each.unit.upper() if each.unit in ("mm", "deg") else "VALUE")


def _help(each: Setting) -> str:
    facts = [unit_text(each), range_text(each), f"default {default_text(each)}"]
    return f"{each.help} ({', '.join(fact for fact in facts if fact)})"


def _safe(text: str) -> str:
    """Percent signs doubled: argparse reads a single one in a help text as a placeholder."""
    return text.replace("%", "%%")
