"""The rows as a table: in the terminal, and between marks in the README."""

from collections.abc import Sequence

import environment

from .rows import Quality, Row

START, END = "<!-- benchmark: made by tools/benchmark.py -->", "<!-- end of benchmark -->"
_HEAD = ("operation", "size", "ours s", "reference s", "ratio", "reference", "quality: ours / reference")


def plain(rows: Sequence[Row]) -> str:
    """The table for a terminal, columns lined up; a mark stands behind what misses its bar."""
    lines = [_HEAD, *(_cells(row) for row in rows)]
    widths = [max(len(line[column]) for line in lines) for column in range(len(_HEAD))]
    return "\n".join(
        "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip() for line in lines
    )


def verdict(row: Row) -> bool | None:
    """Whether time and every quality meet their bars; None where the row has no bar that could be held against it."""
    met = [answer for answer in (row.met, *(quality.met for quality in row.qualities)) if answer is not None]
    return all(met) if met else None


def written(rows: Sequence[Row]) -> None:
    """Write the rows into README.md."""
    readme = environment.ROOT / "README.md"
    readme.write_text(with_rows(readme.read_text(encoding="utf-8"), rows), encoding="utf-8")


def with_rows(text: str, rows: Sequence[Row]) -> str:
    """The README's text with these rows in place of those of the same operation and size, new ones at the end."""
    before, rest = text.split(START)
    table, after = rest.split(END)
    kept = {tuple(_split(line)[:2]): line for line in table.splitlines() if line.startswith("| ")}
    kept.pop(_HEAD[:2], None)
    kept |= {(row.operation, f"{row.size:,}"): _line(_cells(row)) for row in rows}
    lines = [_line(_HEAD), "|---|---:|---:|---:|---:|---|---|", *kept.values()]
    return f"{before}{START}\n" + "\n".join(lines) + f"\n{END}{after}"


def _line(cells: Sequence[str]) -> str:
    return f"| {' | '.join(cells)} |"


def _split(line: str) -> list[str]:
    return [cell.strip() for cell in line.strip().strip("|").split("|")]


def _cells(row: Row) -> tuple[str, ...]:
    return (
        row.operation,
        f"{row.size:,}",
        f"{row.seconds:.2f}",
        "" if row.reference_seconds is None else f"{row.reference_seconds:.2f}",
        "" if row.ratio is None else f"{row.ratio:.2f}{_bar(row.bar, row.met)}",
        row.reference,
        "; ".join(_quality(quality) for quality in row.qualities),
    )


def _quality(quality: Quality) -> str:
    theirs = "" if quality.theirs is None else f" / {quality.theirs:.3g}"
    return f"{quality.name} {quality.ours:.3g}{theirs}{_bar(quality.bar, quality.met)}"


def _bar(bar: float | None, met: bool | None) -> str:
    """The bar behind a figure, and whether it is missed."""
    if bar is None:
        return ""
    return f" (≤ {bar:g}{', missed' if met is False else ''})"
