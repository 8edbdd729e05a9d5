"""The body of a PLY file: the records its header declares, as columns and lists."""

import struct
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..geometry.errors import BadFile
from .ply_header import Element, Header, Property
from .words import numbers_in

Array = NDArray[Any]


@dataclass
class Records:
    """What one element held: single values by property, and lists by property as (k, length) blocks of equal length."""

    columns: dict[str, Array] = field(default_factory=dict)
    lists: dict[str, list[Array]] = field(default_factory=dict)


def records_of(data: bytes, header: Header) -> dict[str, Records]:
    """Every element's records by element name. Raises `BadFile` with the byte or line at fault."""
    if header.order == "":
        return _from_text(data[header.length :], header)
    found: dict[str, Records] = {}
    at = header.length
    for element in header.elements:
        read = _plain_records if element.plain else _listed_records
        found[element.name], at = read(data, at, element, header.order)
    return found


# -- binary ------------------------------------------------------------------------------------------------------


def _plain_records(data: bytes, at: int, element: Element, order: str) -> tuple[Records, int]:
    """Records of one length each, and the byte after them."""
    layout = np.dtype([(each.name, order + each.type) for each in element.properties])
    end = at + element.count * layout.itemsize
    if end > len(data):
        whole = max(len(data) - at, 0) // max(layout.itemsize, 1)
        raise BadFile(
            f"is cut short: {element.count} {element.name} records end at byte {end}, the file at byte {len(data)} "
            f"after {whole} of them"
        )
    table = np.frombuffer(data, layout, element.count, at)
    return Records({each.name: table[each.name] for each in element.properties}), end


def _listed_records(data: bytes, at: int, element: Element, order: str) -> tuple[Records, int]:
    """Records with lists, and the byte after them: read in runs of records whose lists are equally long."""
    if at + element.count * element.least_bytes > len(data):
        raise BadFile(f"is cut short: {element.count} {element.name} records cannot fit in {len(data)} bytes")
    runs: list[Array] = []
    done, stretch = 0, element.count
    while done < element.count:
        layout = _layout_at(data, at, element, order, done)
        take = min(element.count - done, (len(data) - at) // layout.itemsize, stretch)
        table = np.frombuffer(data, layout, take, at)
        same = np.ones(take, bool)
        for each in element.properties:
            if each.count_type:
                same &= table[each.name + "#"] == table[each.name + "#"][0]
        good = take if same.all() else int(np.argmin(same))
        runs.append(table[:good])
        done, at = done + good, at + good * layout.itemsize
        stretch = max(64, 2 * good)  # looks far ahead only where runs are long
    return _joined(runs, element), at


def _layout_at(data: bytes, at: int, element: Element, order: str, row: int) -> np.dtype[np.void]:
    """The layout of the record at byte `at`, its list lengths read on the way."""
    fields: list[tuple[str, str] | tuple[str, str, tuple[int, ...]]] = []
    here = at
    for each in element.properties:
        length = 1
        if each.count_type:
            size = int(each.count_type[1])
            if here + size > len(data):
                raise BadFile(f"is cut short: {element.name} {row} starts at byte {at}, the file ends at {len(data)}")
            code = {"i1": "b", "u1": "B", "i2": "h", "u2": "H", "i4": "i", "u4": "I", "i8": "q", "u8": "Q"}
            (length,) = struct.unpack_from(order + code[each.count_type], data, here)
            if length < 0:
                raise BadFile(f"{element.name} {row} at byte {here} has a list of {length} entries")
            fields.append((each.name + "#", order + each.count_type))
            here += size
        fields.append((each.name, order + each.type, (length,)) if each.count_type else (each.name, order + each.type))
        here += length * int(each.type[1])
    if here > len(data):
        raise BadFile(
            f"is cut short or damaged: {element.name} {row} at byte {at} runs to byte {here}, "
            f"the file ends at {len(data)}"
        )
    return np.dtype(fields)


def _joined(runs: list[Array], element: Element) -> Records:
    """The runs as columns, and as list blocks of one length each."""
    records = Records()
    for each in element.properties:
        if not each.count_type:
            records.columns[each.name] = (
                np.concatenate([run[each.name] for run in runs]) if runs else np.zeros(0, each.type)
            )
            continue
        blocks: dict[int, list[Array]] = {}
        for run in runs:
            blocks.setdefault(run[each.name].shape[1], []).append(run[each.name])
        records.lists[each.name] = [np.concatenate(parts) for parts in blocks.values()]
    return records


# -- ASCII -------------------------------------------------------------------------------------------------------


def _from_text(body: bytes, header: Header) -> dict[str, Records]:
    """Every element's records from the lines after the header; one record a line, empty lines passed over."""
    lines = body.splitlines()
    numbers = np.arange(len(lines)) + header.lines + 1
    if any(not line.strip() for line in lines):
        filled = [bool(line.strip()) for line in lines]
        numbers = numbers[filled]
        lines = [line for line, full in zip(lines, filled, strict=True) if full]
    found: dict[str, Records] = {}
    at = 0
    for element in header.elements:
        if element.count > len(lines) - at:
            raise BadFile(
                f"is cut short: {element.count} {element.name} records are declared, "
                f"lines for {len(lines) - at} of them follow"
            )
        rows = slice(at, at + element.count)
        read = _plain_lines if element.plain else _listed_lines
        found[element.name] = read(lines[rows], element, numbers[rows])
        at += element.count
    return found


def _plain_lines(lines: list[bytes], element: Element, numbers: NDArray[np.int64]) -> Records:
    if not element.properties or not lines:
        return Records({each.name: np.zeros(len(lines), each.type) for each in element.properties})
    table = numbers_in(lines, lambda row: int(numbers[row]), width=len(element.properties))
    return Records({each.name: _typed(table[:, at], each) for at, each in enumerate(element.properties)})


def _listed_lines(lines: list[bytes], element: Element, numbers: NDArray[np.int64]) -> Records:
    """Lines grouped by their number of words; within a group each list has one length, or the group is split."""
    groups: dict[int, list[int]] = {}
    for row, line in enumerate(lines):
        groups.setdefault(len(line.split()), []).append(row)
    runs: list[dict[str, Array]] = []
    for rows in groups.values():
        block = [lines[row] for row in rows]
        table = numbers_in(block, _line_of(numbers, rows))
        while len(table):
            run, same = _block_of(table, element, int(numbers[rows[0]]))
            runs.append(run)
            table = table[~same]
            rows = [row for row, done in zip(rows, same, strict=True) if not done]
    records = Records()
    for each in element.properties:
        found = [run[each.name] for run in runs]
        if each.count_type:
            records.lists[each.name] = found
        else:
            records.columns[each.name] = np.concatenate(found) if found else np.zeros(0, each.type)
    return records


def _line_of(numbers: NDArray[np.int64], rows: list[int]) -> Callable[[int], int]:
    return lambda row: int(numbers[rows[row]])


def _block_of(table: NDArray[np.float64], element: Element, line: int) -> tuple[dict[str, Array], NDArray[np.bool_]]:
    """The records laid out as the table's first row is, by property, and the mask of the rows they are."""
    spans: list[tuple[Property, int, int]] = []
    same, at = np.ones(len(table), bool), 0
    for each in element.properties:
        length = 1
        if each.count_type:
            if at >= table.shape[1]:
                raise BadFile(f"line {line}: {element.name} has {table.shape[1]} numbers, too few")
            length = int(table[0, at])
            if length < 0 or length != table[0, at]:
                raise BadFile(f"line {line}: {element.name} has a list of {table[0, at]:g} entries")
            same &= table[:, at] == length
            at += 1
        spans.append((each, at, at + length))
        at += length
    if at != table.shape[1]:
        raise BadFile(f"line {line}: {element.name} has {table.shape[1]} numbers where {at} are declared")
    run = {
        each.name: _typed(table[same, start:end] if each.count_type else table[same, start], each)
        for each, start, end in spans
    }
    return run, same


def _typed(values: NDArray[np.float64], each: Property) -> Array:
    """The values as the property's type; a broken number where a whole one belongs is refused."""
    if each.type[0] == "f":
        return values
    if not (values == np.rint(values)).all():
        raise BadFile(f"{each.name} holds {values[values != np.rint(values)][0]:g} where whole numbers belong")
    range_of = np.iinfo(each.type)
    outside = (values < range_of.min) | (values > range_of.max)
    if outside.any():
        raise BadFile(f"{each.name} holds {values[outside][0]:g}, which its type cannot hold")
    return np.asarray(values, dtype=each.type)
