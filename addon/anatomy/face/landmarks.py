"""The craniofacial landmarks: their names, where each lies, which go in pairs."""

from collections.abc import Iterable

from ...geometry.errors import BadSetting

MIDLINE = {
    "glabella": "midline, the most prominent point between the brows",
    "sellion": "midline, the deepest point of the nasal root",
    "pronasale": "midline, the most protruding point of the nose tip",
    "subnasale": "midline, where the nasal septum meets the upper lip",
    "stomion": "midline of the closed lip line; between the lips of an open mouth",
    "gnathion": "midline, the lowest point of the chin (surveys call it menton)",
    "vertex": "the highest point of the head held in the Frankfurt horizontal; hair counts where there is hair",
}
"""Name to definition, in our own words."""

PAIRED = {
    "endocanthion": "inner corner of the eye, where the lids meet (not the caruncle)",
    "exocanthion": "outer corner of the eye, where the lids meet",
    "palpebrale-superius": "highest point of the upper lid's margin",
    "palpebrale-inferius": "lowest point of the lower lid's margin",
    "orbitale": "lowest point of the lower edge of the orbit, on the skin over it",
    "tragion": "notch at the top edge of the tragus, in front of the ear canal",
    "cheilion": "corner of the mouth",
}
"""Name without its side to definition. Left and right are the sitter's own."""

SIDES = ("left", "right")

NAMES = (*MIDLINE, *(f"{name}-{side}" for name in PAIRED for side in SIDES))
"""Every landmark there is, as it is written in files, reports and on the command line."""


def definition(name: str) -> str:
    """Where the landmark lies, in words."""
    stem = known(name).removesuffix("-left").removesuffix("-right")
    return MIDLINE.get(stem) or PAIRED[stem]


def known(name: str) -> str:
    """The name itself, or `BadSetting` listing the names there are."""
    if name not in NAMES:
        paired = ", ".join(f"{stem}-left/-right" for stem in PAIRED)
        raise BadSetting(f"no landmark called {name!r}: there are {', '.join(MIDLINE)}, {paired}")
    return name


def twin(name: str) -> str:
    """The landmark on the other side; a midline one is its own twin."""
    if name.endswith("-left"):
        return name.removesuffix("-left") + "-right"
    if name.endswith("-right"):
        return name.removesuffix("-right") + "-left"
    return name


def pairs(names: Iterable[str]) -> list[tuple[str, str]]:
    """(left, right) of every pair of which both are among `names`."""
    there = set(names)
    both = ((f"{stem}-left", f"{stem}-right") for stem in PAIRED)
    return [(left, right) for left, right in both if left in there and right in there]
