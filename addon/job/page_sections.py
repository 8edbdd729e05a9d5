"""The sections of the printed report, each from the report's figures."""

import base64
from collections.abc import Mapping, Sequence
from html import escape
from typing import Any

from .cautions import CAUTIONS, FIRST
from .eye_drawings import Drawing
from .page_photographs import DRAWN
from .studio import FINDING, Picture
from .wording import against, finding_text, limit, measured, named, value_text

Figures = Mapping[str, Any]
_LONG = 44  # characters that fit into half the page
STANDS = "stands"
"""The figure of the check that has a section of its own."""


def verdict(figures: Figures) -> str:
    """Whether it should be printed, in a sentence, and what stands against it."""
    failed = [check for check in figures["checks"] if not check["ok"]]
    grave = [check for check in failed if check["grave"]]
    if not failed and "check" not in [step["name"] for step in figures["steps"]]:
        return '<div class="verdict bad">Not checked: run the check before printing.</div>'
    if not failed:
        return f'<div class="verdict">All {len(figures["checks"])} checks passed: ready to print.</div>'
    items = "".join(f"<li>{escape(finding_text(check))}</li>" for check in grave or failed)
    words = "Do not print this yet" if grave else "Ready to print; have a look at"
    return f'<div class="verdict{" bad" if grave else ""}">{words}:<ul>{items}</ul></div>'


def parts(figures: Figures) -> str:
    """One row a part."""
    rows = [
        (
            escape(part["name"]),
            escape(part["file"]),
            " &times; ".join(f"{side:.1f}" for side in part["size_mm"]),
            value_text(part["volume_mm3"] / 1000),
            value_text(part["triangles"]),
            "yes" if part["watertight"] else '<span class="bad">no</span>',
        )
        for part in figures["parts"]
    ]
    return table(("part", "file", "#size, mm", "#volume, ml", "#triangles", "closed"), rows)


def eyes(figures: Figures) -> str:
    """One row an eye, in the coordinates of the exported parts."""
    rows = [
        (
            f"the sitter's {escape(eye['side'])}",
            value_text(eye["diameter_mm"]),
            value_text(eye["clearance_mm"]),
            ", ".join(f"{number:.2f}" for number in eye["centre_mm"]),
            value_text(eye["uncertainty_mm"]),
            escape(", ".join(eye["sources"])) or "-",
        )
        for eye in figures["eyes"]
    ]
    heads = ("eye", "#diameter, mm", "#gap all round, mm", "#centre, mm", "#uncertain by, mm", "found from")
    return table(heads, rows)


def drawn(drawings: Sequence[Drawing]) -> str:
    """The line drawings, two to a row."""
    shown = [
        f'<figure class="wide">{each.svg}<figcaption>{escape(each.title)}</figcaption></figure>' for each in drawings
    ]
    return f'<div class="plates">{"".join(shown)}</div>' if shown else ""


def eye_values(figures: Figures) -> str:
    """Each measure of eyes and lids with where it came from."""
    rows = [
        (
            escape(each["what"]),
            escape(each["eye"]) or "both",
            value_text(each["value"]),
            escape(each["unit"]),
            escape(each["source"]),
        )
        for each in figures["eye_values"]
    ]
    return table(("measure", "eye", "#value", "", "from"), rows)


def checks(figures: Figures, pictures: Sequence[Picture] = ()) -> str:
    """A row for each finding that is not as it should be, with its place, what to do and the number of its picture;
    the pictures; the others in short.
    """
    shown = {picture.name: number for number, picture in enumerate(pictures, 1)}
    failed = [(row, check) for row, check in enumerate(figures["checks"]) if not check["ok"]]
    passed = [check for check in figures["checks"] if check["ok"]]
    failed.sort(key=lambda pair: not pair[1]["grave"])
    short = "".join(
        f"<div><span>{escape(check['name'])}</span><span>{escape(against(check))}</span></div>" for check in passed
    )
    heads = ("check", "#found", "#wanted", "", "where", "#picture", "what to do")
    rows = table(heads, [_failed_row(check, shown.get(f"{FINDING}{row}")) for row, check in failed])
    close = f'<div class="closeups">{"".join(map(_close_up, pictures, shown.values()))}</div>' if shown else ""
    return rows + close + (f'<h3>Passed</h3><div class="facts soft">{short}</div>' if short else "")


def figure(picture: Picture, caption: str, kind: str = "") -> str:
    """A picture held in the page itself."""
    data = base64.b64encode(picture.png).decode("ascii")
    image = f'<img alt="{escape(picture.title)}" src="data:image/png;base64,{data}">'
    return f"<figure{kind}>{image}<figcaption>{escape(caption)}</figcaption></figure>"


def _close_up(picture: Picture, number: int) -> str:
    return figure(picture, f"{number}  {picture.title}")


def standing(figures: Figures) -> str:
    """A row a part: which way up it is best printed, and what it suffers then and as it stands."""
    found: Sequence[Figures] = _last(figures, "check").get(STANDS, ())
    if not found:
        return ""
    keys = ("suction_mm2", "islands", "face_scars_mm2", "other_scars_mm2", "height_mm")
    rows = []
    for row in found:
        turned = row["up"] != row["up_now"]
        pairs = [
            f'{value_text(round(row[key]))} <span class="soft">({value_text(round(row[key + "_now"]))})</span>'
            if turned
            else value_text(round(row[key]))
            for key in keys
        ]
        stand = escape(row["stand"]) if turned else f"as it stands: {escape(row['stand'])}"
        rows.append(
            (escape(row["part"]), stand, ", ".join(f"{round(each, 2) + 0.0:.2f}" for each in row["up"]), *pairs)
        )
    heads = ("part", "stand it", "#up", "#suction, mm²", "#islands", "#supports on face and joints, mm²")
    words = (
        "Which way up each part is best printed: least suction, then fewest starts in mid-air and supports where they "
        "scar the face or a joint, then least height. In brackets: as it stands now. Give the direction to vent and "
        "check (up)."
    )
    return f"<p>{words}</p>{table((*heads, '#supports elsewhere, mm²', '#height, mm'), rows)}"


def notes(figures: Figures) -> str:
    """What the steps had to say."""
    sentences = [*figures["notes"], *(figures["left_out"])]
    items = "".join(f"<li>{escape(_sentence(note))}</li>" for note in sentences)
    return f'<ul class="plain">{items}</ul>' if items else ""


def listed(sentences: Sequence[str]) -> str:
    """Sentences, numbered."""
    return f"<ol>{''.join(f'<li>{escape(each)}</li>' for each in sentences)}</ol>"


def cautions() -> str:
    """What can hurt someone."""
    items = "".join(f"<div><h3>{title}</h3><p>{escape(text)}</p></div>" for title, text in CAUTIONS)
    return f'<p>{escape(FIRST)}</p><div class="cautions">{items}</div>'


def steps(figures: Figures) -> str:
    """Every step with what it measured and how it was set."""
    return "".join(_step(step) for step in figures["steps"])


def landmarks(figures: Figures) -> str:
    """Where each landmark lies and how far it can be trusted."""
    rows = [
        (
            escape(name),
            ", ".join(f"{number:.2f}" for number in mark["mm"]),
            f"{mark['confidence']:.0%}",
            escape(mark["source"]),
        )
        for name, mark in figures["landmarks"].items()
    ]
    return table(("landmark", "#place, mm", "#trust", "from"), rows)


def _failed_row(check: Figures, picture: int | None) -> list[str]:
    where = check["where"] if isinstance(check["where"], str) else ", ".join(f"{each:.1f}" for each in check["where"])
    return [
        escape(check["name"]),
        escape(measured(check)),
        escape(limit(check)),
        '<span class="bad">fails</span>' if check["grave"] else "look",
        f'<span class="whole">{escape(where)}</span>',
        "" if picture is None else str(picture),
        escape(check["advice"]),
    ]


def _last(figures: Figures, step: str) -> Figures:
    """What a step measured the last time it was run; nothing where it was not."""
    found: Figures = next((each["figures"] for each in reversed(figures["steps"]) if each["name"] == step), {})
    return found


def _step(step: Figures) -> str:
    cost = f"{step['seconds']:.1f} s, {step['peak_mb']:,.0f} MB"
    settings = _facts(step["settings"], step["units"])
    return (
        f'<div class="step"><h3>{escape(step["name"])}<span class="soft">{cost}</span></h3>'
        + _facts({name: value for name, value in step["figures"].items() if name not in (STANDS, DRAWN)}, {})
        + (f'<div class="set">{settings}</div>' if settings else "")
        + "</div>"
    )


def _facts(values: Figures, units: Figures) -> str:
    """Short values in two columns; long ones and whole tables below them."""
    short, long = [], []
    for name, value in values.items():
        words, unit = named(name)
        text = f"{escape(value_text(value))} {escape(units.get(name, unit))}"
        if isinstance(value, list) and value and all(isinstance(each, Mapping) for each in value):
            long.append(f"<p>{escape(words)}</p>{_table_of(value)}")
        elif len(text) > _LONG:
            long.append(f"<p>{escape(words)}: {text}</p>")
        else:
            short.append(f"<div><span>{escape(words)}</span><span>{text}</span></div>")
    return (f'<div class="facts">{"".join(short)}</div>' if short else "") + "".join(long)


def _table_of(rows: Sequence[Figures]) -> str:
    """Records that share their names, a column each."""
    names = list(dict.fromkeys(name for row in rows for name in row))
    numbers = [all(isinstance(row.get(name, 0), int | float) for row in rows) for name in names]
    titles = [" ".join(part for part in named(name) if part) for name in names]
    heads = [f"#{title}" if number else title for title, number in zip(titles, numbers, strict=True)]
    return table(heads, [[escape(value_text(row.get(name))) for name in names] for row in rows])


def table(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """A table of cells that are HTML already; a head that starts with # is a column of numbers."""
    if not rows:
        return ""
    kinds = [' class="number"' if head.startswith("#") else "" for head in heads]
    top = "".join(f"<th{kind}>{head.removeprefix('#')}</th>" for head, kind in zip(heads, kinds, strict=True))
    body = "".join(
        "<tr>" + "".join(f"<td{kind}>{cell}</td>" for cell, kind in zip(row, kinds, strict=True)) + "</tr>"
        for row in rows
    )
    return f"<table><thead><tr>{top}</tr></thead><tbody>{body}</tbody></table>"


def _sentence(note: str) -> str:
    """The note with a capital and a full stop."""
    return note[:1].upper() + note[1:] + ("" if note.endswith((".", "!", "?")) else ".")
