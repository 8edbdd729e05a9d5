"""Words for the interface: labels in title case, United States spelling, units in brackets."""

import functools
import re

from ...job.errands import ERRANDS
from ...steps.catalogue import all_steps
from ...steps.step import Setting, Step

_SPELLING = {
    "colour": "color",
    "centre": "center",
    "grey": "gray",
    "millimetre": "millimeter",
    "mould": "mold",
    "fibre": "fiber",
    "smoothe": "smooth",
    "neighbour": "neighbor",
    "symmetris": "symmetriz",
    "normalis": "normaliz",
    "labelled": "labeled",
    "metre": "meter",
    "litre": "liter",
    "calibre": "caliber",
}
_SMALL = {"a", "an", "and", "at", "by", "for", "from", "in", "of", "on", "or", "out", "the", "to", "with"}
_LETTERS = {"stl": "STL", "ply": "PLY", "csv": "CSV"}
_UNITS = {"deg": "°", "per cm2": "per cm²"}


def us_spelling(text: str) -> str:
    """The text as it is spelled in the interface."""
    for british, american in _SPELLING.items():
        text = re.sub(british, american, text)
        text = re.sub(british.capitalize(), american.capitalize(), text)
    return text


def title(name: str) -> str:
    """A name as a label: "cull-strays" and "cull_strays" are "Cull Strays"."""
    words = us_spelling(name.replace("-", " ").replace("_", " ")).split()
    return " ".join(
        word if number and word in _SMALL else _LETTERS.get(word, word[:1].upper() + word[1:])
        for number, word in enumerate(words)
    )


def label(each: Setting) -> str:
    """A setting's label with its unit, and the size its lengths are meant at. Angles show their own sign."""
    remarks = [_UNITS.get(each.unit, each.unit)] if each.unit and each.unit != "deg" else []
    remarks += [each.at] if each.at else []
    return f"{title(each.name)} ({', '.join(remarks)})" if remarks else title(each.name)


def sentence(text: str) -> str:
    """A description as the host shows it: no full stop, which it adds itself."""
    return us_spelling(text.strip()).rstrip(".")


def choice(text: str) -> str:
    """How one of a setting's choices is shown: units stay as they are written."""
    return text if len(text) <= 2 else title(text)


def as_shown(text: str) -> str:
    """A sentence of a step as the interface puts it: settings and steps under the labels they have there.

    It begins with a capital, unless with the name of a thing or a file.
    """
    text = re.sub(r"\b[a-z]+(?:[-_][a-z]+)+\b", lambda found: _labels().get(found[0], found[0]), text)
    return us_spelling(text[:1].upper() + text[1:] if re.match(r"[a-z-]+[ :,]", text) else text)


@functools.cache
def _labels() -> dict[str, str]:
    """What names of more than one word are called in the sidebar: "least_lid" is "Least Lid"."""
    steps = (*all_steps(), *ERRANDS)
    names = {step.NAME for step in steps} | {each.name for step in steps for each in step.settings()}
    return {name: title(name) for name in names if "-" in name or "_" in name}


def description(step: type[Step]) -> str:
    """The line of help of a step's button."""
    return sentence(step.summary())
