"""The report's section on reference photographs: what was marked in each, and where the solved camera sees it."""

import base64
from collections.abc import Mapping, Sequence
from html import escape
from pathlib import Path
from typing import Any

from ..files.pictures import read_picture
from ..geometry.errors import BadFile

DRAWN = "photograph_marks"
"""The figure of place-eyes that is drawn here, so that nobody reads it as a table."""

_LARGEST = 12_000_000  # bytes; a page that holds more is no page to hand round
_MARGIN = 0.18  # of the marks' width and height, shown about them
_ENLARGED = (1, 2, 5, 10, 20, 50, 100)
_SHOWN = 0.02  # of the drawing's width, that an enlarged miss should measure about
_MARK, _PUPIL, _SEEN, _WRONG = "#f2b632", "#5cc8ff", "#ffffff", "#ff5a3c"

Rows = Sequence[Mapping[str, Any]]


def photographs(figures: Mapping[str, Any]) -> str:
    """A drawing of each photograph the eyes were placed by; nothing where there were none."""
    steps = [step for step in figures["steps"] if step["name"] == "place-eyes" and step["figures"].get("photographs")]
    if not steps:
        return ""
    step = steps[-1]
    folder = Path(step["settings"]["photographs"]).parent
    drawn = [_figure(each, _marks_of(step, each["photograph"]), folder) for each in step["figures"]["photographs"]]
    return f'{_legend()}<div class="photographs">{"".join(drawn)}</div>'


def _legend() -> str:
    keys = (
        (_ring(7, 7, 5, _MARK, 1.5), "marked landmark"),
        (_ring(7, 7, 5, _PUPIL, 1.5), "marked pupil"),
        (_cross(7, 7, 5, "#7b7269", 1.5), "where the solved camera sees it"),
        (_line(1, 13, 13, 1, _WRONG, 2), "its miss, enlarged as said below each"),
        (_ring(7, 7, 5, _WRONG, 1.5), "left out"),
    )
    items = "".join(f'<span><svg viewBox="0 0 14 14">{sign}</svg>{words}</span>' for sign, words in keys)
    words = (
        "Photographs the eyes were placed by. Where they are shown, this page holds them: pass it on only as you would "
        "pass them on."
    )
    return f'<p>{words}</p><p class="legend">{items}</p>'


def _marks_of(step: Mapping[str, Any], photograph: str) -> Rows:
    return [row for row in step["figures"].get(DRAWN, ()) if row["photograph"] == photograph]


def _figure(each: Mapping[str, Any], marks: Rows, folder: Path) -> str:
    """One photograph about its marks, with a caption of its figures."""
    left, top, width, height = _window(each, marks)
    factor = _factor(marks, width)
    behind, lacking = _behind(each, folder)
    drawn = "".join(_mark(row, width / 100, factor) for row in marks)
    name = escape(Path(each["photograph"]).name)
    svg = (
        f'<svg viewBox="{left:.1f} {top:.1f} {width:.1f} {height:.1f}" role="img" aria-label="{name}">'
        f'<rect x="{left:.1f}" y="{top:.1f}" width="{width:.1f}" height="{height:.1f}" fill="#8d857b"/>'
        f"{behind}{drawn}</svg>"
    )
    focal = f"focal length {each['focal_px']:.0f} px"
    focal += f" &plusmn; {each['focal_uncertainty_px']:.0f}" if each["focal_uncertainty_px"] else " as given"
    facts = [
        f"{name}: {each['marks']} marks",
        f"reprojection {each['reprojection_rms_px']:.2f} px RMS",
        focal,
        f"taken from {each['distance_mm_life'] / 1000:.2f} m",
        f"misses drawn {factor} times" if factor > 1 else "misses drawn as they are",
    ]
    facts += [f"left out: {escape(each['left_out'])}"] if each["left_out"] else []
    facts += [escape(lacking)] if lacking else []
    return f"<figure>{svg}<figcaption>{', '.join(facts)}</figcaption></figure>"


def _window(each: Mapping[str, Any], marks: Rows) -> tuple[float, float, float, float]:
    """Left, top, width and height of the part that is shown, pixels: the marks and a margin, within the picture."""
    x, y = [row["x_px"] for row in marks], [row["y_px"] for row in marks]
    across, down = _MARGIN * (max(x) - min(x)) + 1, _MARGIN * (max(y) - min(y)) + 1
    left, right = max(0.0, min(x) - across), min(float(each["width_px"]), max(x) + across)
    top, bottom = max(0.0, min(y) - down), min(float(each["height_px"]), max(y) + down)
    return left, top, right - left, bottom - top


def _factor(marks: Rows, width: float) -> int:
    """How much misses are enlarged so that the middle one can be seen."""
    lengths = sorted(_miss(row) for row in marks if row["seen_x_px"] is not None)
    middle = max(lengths[len(lengths) // 2], 1e-9) if lengths else 1.0
    return min(_ENLARGED, key=lambda factor: abs(factor * middle - _SHOWN * width))


def _miss(row: Mapping[str, Any]) -> float:
    return float(((row["seen_x_px"] - row["x_px"]) ** 2 + (row["seen_y_px"] - row["y_px"]) ** 2) ** 0.5)


def _behind(each: Mapping[str, Any], folder: Path) -> tuple[str, str]:
    """The photograph itself where it can be shown; else nothing, and why."""
    try:
        picture = read_picture(folder / each["photograph"])
    except BadFile as fault:
        return "", f"drawn without the photograph ({str(fault).rpartition(': ')[2]})"
    width, height = picture.size
    marked = (each["width_px"], each["height_px"])
    turns = {
        0: "",
        1: f' transform="translate({height} 0) rotate(90)"',
        2: f' transform="translate({width} {height}) rotate(180)"',
        3: f' transform="translate(0 {width}) rotate(-90)"',
    }
    quarters = 0 if marked == picture.size else picture.quarters
    shown = picture.size if quarters % 2 == 0 else (height, width)
    if shown != marked:
        return "", f"drawn without the photograph, which is {width} x {height} pixels and not {marked[0]} x {marked[1]}"
    if len(picture.content) > _LARGEST:
        return "", f"drawn without the photograph, which is larger than {_LARGEST / 1e6:g} MB"
    data = base64.b64encode(picture.content).decode("ascii")
    source = f"data:image/{picture.kind};base64,{data}"
    return f'<image width="{width}" height="{height}"{turns[quarters]} href="{source}"/>', ""


def _mark(row: Mapping[str, Any], size: float, factor: int) -> str:
    """A ring where it was marked, a cross where it is seen, the miss between them drawn longer."""
    x, y = row["x_px"], row["y_px"]
    left_out = row["seen_x_px"] is None
    colour = _WRONG if left_out else _PUPIL if row["mark"].endswith("-pupil") else _MARK
    signs = [f"<title>{escape(row['mark'])}</title>"]
    if not left_out:
        away = factor * (row["seen_x_px"] - x), factor * (row["seen_y_px"] - y)
        signs.append(_line(x, y, x + away[0], y + away[1], _WRONG, size / 3))
        signs.append(_cross(row["seen_x_px"], row["seen_y_px"], 0.8 * size, _SEEN, size / 5))
    signs.append(_ring(x, y, size, colour, size / 3.5))
    return f"<g>{''.join(signs)}</g>"


def _ring(x: float, y: float, radius: float, colour: str, wide: float) -> str:
    return (
        f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{radius:.2f}" fill="none" stroke="{colour}" stroke-width="{wide:.2f}"/>'
    )


def _cross(x: float, y: float, reach: float, colour: str, wide: float) -> str:
    arms = _line(x - reach, y, x + reach, y, colour, wide), _line(x, y - reach, x, y + reach, colour, wide)
    return "".join(arms)


def _line(x: float, y: float, to_x: float, to_y: float, colour: str, wide: float) -> str:
    return (
        f'<line x1="{x:.2f}" y1="{y:.2f}" x2="{to_x:.2f}" y2="{to_y:.2f}" stroke="{colour}" stroke-width="{wide:.2f}" '
        'stroke-linecap="round"/>'
    )
