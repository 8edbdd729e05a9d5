"""The report as one page to print and lay beside the printer."""

from collections.abc import Mapping, Sequence
from html import escape
from typing import Any

from .assembly import assembly
from .eye_drawings import Drawing
from .page_likeness import likeness
from .page_photographs import photographs
from .page_sections import (
    cautions,
    checks,
    drawn,
    eye_values,
    eyes,
    figure,
    landmarks,
    listed,
    notes,
    parts,
    standing,
    steps,
    verdict,
)
from .page_style import STYLE
from .studio import FINDING, Picture
from .wording import scale_text, value_text

_TOGETHER = ("parts", "key-", "joint")
"""How the names of the pictures begin that show how it goes together: they stand beside the words on that."""
_WIDE = {0: 0, 1: 4, 2: 2}  # how many come two to a row, so that the rest fill their rows of three


def page(
    figures: Mapping[str, Any],
    pictures: Sequence[Picture],
    drawings: Sequence[Drawing] = (),
    heat: Picture | None = None,
) -> str:
    """The report as HTML that needs nothing but itself.

    Parameters
    ----------
    figures : what `report.report` gives
    pictures : shown in this order, held in the page itself
    drawings : of the eyes in their sockets
    heat : the scan in the colours of its distance from the head

    Returns
    -------
    The page's text, for UTF-8.
    """
    body = [
        _head(figures),
        verdict(figures),
        _plates(figures, [each for each in pictures if not each.name.startswith((FINDING, *_TOGETHER))]),
        _section("Parts", parts(figures)),
        _section("Checks", checks(figures, [each for each in pictures if each.name.startswith(FINDING)])),
        _section("How to stand the parts on the plate", standing(figures)),
        _section("Before you print", cautions()),
        _section("Putting it together", _together(pictures) + listed(assembly(figures))),
        _section("What was changed, and why", notes(figures)),
        _section("Eyes", eyes(figures) + drawn(drawings) + eye_values(figures)),
        _section("Reference photographs", photographs(figures)),
        _section("Likeness", likeness(figures, heat)),
        _section("Where each value came from", steps(figures)),
        _section("Landmarks", landmarks(figures)),
        _foot(figures),
    ]
    return "\n".join(
        [
            "<!doctype html>",
            '<html lang="en"><head><meta charset="utf-8">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            f"<title>{escape(figures['name'])}</title>",
            f"<style>{STYLE}</style></head><body>",
            *(each for each in body if each),
            "</body></html>\n",
        ]
    )


def _head(figures: Mapping[str, Any]) -> str:
    resin = sum(part["volume_mm3"] for part in figures["parts"]) / 1000
    count = len(figures["parts"])
    facts = [
        scale_text(figures["scale"]),
        f"{count} part{'' if count == 1 else 's'}",
        f"{value_text(resin)} ml of resin without supports",
    ]
    made_up = ""
    if figures["shrinkage_percent"]:
        larger = 100 / (100 - figures["shrinkage_percent"])
        made_up = (
            f'<p class="lead">The files are {100 * (larger - 1):.2f} % larger than the finished parts, for a resin '
            f"that shrinks by {value_text(figures['shrinkage_percent'])} %: print them as they are. Parts, eyes and "
            "places are given as in the files; joints, walls and gaps as they will be in the hand.</p>"
        )
    return f'<header><h1>{escape(figures["name"])}</h1><p class="lead">{", ".join(facts)}</p>{made_up}</header>'


def _plates(figures: Mapping[str, Any], pictures: Sequence[Picture]) -> str:
    if not pictures:
        return "".join(f'<p class="soft">{escape(sentence)}.</p>' for sentence in figures["left_out"])
    shown = []
    for number, picture in enumerate(pictures):
        kind = ' class="wide"' if number < _WIDE[len(pictures) % 3] else ""
        shown.append(figure(picture, picture.title, kind))
    return f'<div class="plates">{"".join(shown)}</div>'


def _together(pictures: Sequence[Picture]) -> str:
    """The parts drawn apart, keys and joint, two to a row."""
    shown = [figure(each, each.title, ' class="wide"') for each in pictures if each.name.startswith(_TOGETHER)]
    return f'<div class="plates">{"".join(shown)}</div>' if shown else ""


def _section(title: str, content: str) -> str:
    return f"<section><h2>{title}</h2>{content}</section>" if content else ""


def _foot(figures: Mapping[str, Any]) -> str:
    words = ", ".join(f"{name} {value}" for name, value in figures["versions"].items())
    return f"<footer>Made with {escape(words)}. The recipe beside this page makes the same parts again.</footer>"
