"""The header of a PLY file (Turk 1994, paulbourke.net/dataformats/ply): which elements follow, and how held."""

import re
from dataclasses import dataclass

from ..geometry.errors import BadFile

TYPES = {
    "char": "i1", "uchar": "u1", "short": "i2", "ushort": "u2", "int": "i4", "uint": "u4",
    "float": "f4", "double": "f8",
    "int8": "i1", "uint8": "u1", "int16": "i2", "uint16": "u2", "int32": "i4", "uint32": "u4",
    "float32": "f4", "float64": "f8", "int64": "i8", "uint64": "u8",
}  # fmt: skip
"""Type names and the synonyms in use, as numpy type codes without byte order."""

ORDERS = {"ascii": "", "binary_little_endian": "<", "binary_big_endian": ">"}
LONGEST = 1 << 20
"""Bytes within which a header must end; comments included, real ones stay under a few thousand."""


@dataclass(frozen=True)
class Property:
    """One property of an element. `count_type` is "" for a single value, else the type of a list's length."""

    name: str
    type: str
    count_type: str = ""


@dataclass(frozen=True)
class Element:
    """`count` records, each with these properties in this order."""

    name: str
    count: int
    properties: tuple[Property, ...]

    @property
    def plain(self) -> bool:
        """Whether every record has the same length (no lists)."""
        return not any(each.count_type for each in self.properties)

    @property
    def least_bytes(self) -> int:
        """Bytes of one binary record whose lists are empty."""
        return sum(int((each.count_type or each.type)[1]) for each in self.properties)


@dataclass(frozen=True)
class Header:
    """`order` is "" for ASCII, "<" or ">" for binary. The body starts at byte `length`, after `lines` lines."""

    order: str
    elements: tuple[Element, ...]
    length: int
    lines: int


def header_of(data: bytes) -> Header:
    """Read the header at the start of `data`. Raises `BadFile` with the line at fault."""
    if not data.startswith(b"ply"):
        raise BadFile("does not begin with the word ply")
    end = re.search(rb"(?:^|[\r\n])end_header[ \t]*(\r\n|\n|\r|$)", data[:LONGEST])
    if end is None:
        raise BadFile("the PLY header has no end_header line: the file is cut short or damaged")
    try:
        text = data[: end.start(1)].decode("ascii")
    except UnicodeDecodeError as fault:
        # Comments may hold any bytes; anything else is damage.
        text = data[: end.start(1)].decode("latin-1")
        line = text[: fault.start].replace("\r\n", "\n").count("\n") + 1
        if not text.splitlines()[line - 1].startswith(("comment", "obj_info")):
            raise BadFile(f"line {line} of the PLY header is not text") from None
    lines = re.split(r"\r\n|\n|\r", text)
    break_at_end = end.group(1)
    if break_at_end == b"\r\n" and b"\r\n" not in data[: end.start(1)]:
        break_at_end = b"\r"  # old files end lines in \r alone; the \n is the first byte of the body
    order, elements = _declared(lines)
    return Header(order, elements, end.start(1) + len(break_at_end), len(lines))


def _declared(lines: list[str]) -> tuple[str, tuple[Element, ...]]:
    """Byte order and elements of the header's lines."""
    order: str | None = None
    elements: list[Element] = []
    for number, line in enumerate(lines[1:-1], start=2):
        words = line.split()
        if not words or words[0] in ("comment", "obj_info"):
            continue
        if words[0] == "format":
            order = _order(words, number)
        elif words[0] == "element":
            elements.append(_element(words, number, elements))
        elif words[0] == "property":
            if not elements:
                raise BadFile(f"line {number}: a property stands before any element")
            elements[-1] = _with_property(elements[-1], words, number)
        else:
            raise BadFile(f"line {number}: {words[0][:40]!r} is no PLY header word")
    if order is None:
        raise BadFile("the PLY header has no format line")
    return order, tuple(elements)


def _order(words: list[str], number: int) -> str:
    if len(words) < 2 or words[1] not in ORDERS:
        raise BadFile(f"line {number}: format {' '.join(words[1:])[:40]!r} is none of {', '.join(ORDERS)}")
    return ORDERS[words[1]]


def _element(words: list[str], number: int, known: list[Element]) -> Element:
    if len(words) != 3 or not re.fullmatch(r"-?\d+", words[2]):
        raise BadFile(f"line {number}: an element needs a name and a count, not {' '.join(words[1:])[:60]!r}")
    if int(words[2]) < 0:
        raise BadFile(f"line {number}: element {words[1]} has a count of {words[2]}")
    if any(element.name == words[1] for element in known):
        raise BadFile(f"line {number}: element {words[1]} is declared twice")
    return Element(words[1], int(words[2]), ())


def _with_property(element: Element, words: list[str], number: int) -> Element:
    """The element with one property line added."""
    is_list = len(words) > 1 and words[1] == "list"
    if len(words) != (5 if is_list else 3):
        raise BadFile(f"line {number}: {' '.join(words)[:60]!r} is no whole property line")
    types = words[2:4] if is_list else words[1:2]
    for word in types:
        if word not in TYPES:
            raise BadFile(f"line {number}: unknown property type {word[:40]!r}")
    if is_list and TYPES[types[0]][0] == "f":
        raise BadFile(f"line {number}: a list's length cannot be a {types[0]}")
    if any(each.name == words[-1] for each in element.properties):
        raise BadFile(f"line {number}: property {words[-1]} of {element.name} is declared twice")
    added = Property(words[-1], TYPES[types[-1]], TYPES[types[0]] if is_list else "")
    return Element(element.name, element.count, (*element.properties, added))
