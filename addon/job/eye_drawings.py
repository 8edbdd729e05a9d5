"""Each eye in its socket, cut along its axis and drawn with its clearances: line drawings for the report, as SVG.

Millimetres as printed, the face to the left. What is written on a drawing is measured on the cut outlines themselves.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..geometry.solids.sections import Outline, Plane, section
from ..geometry.views.inside_view import frame_about
from ..steps.workpiece import Eye, Workpiece

_BEFORE, _BEHIND, _ASIDE = 2.1, 2.7, 1.75  # radii of the eye that the drawing reaches from its centre
_FILLS = {"head": "#d8c8b4", "eye": "#ffffff", "seat": "#a9b9c4", "dome": "#e4eef2"}
_STEP = np.radians(0.5)
_PAST_RIM = (np.radians(5.0), np.radians(10.0))  # beyond the lid's edge: where its gap and its thickness are told


@dataclass(frozen=True)
class Drawing:
    """One section: `name` in plain ASCII, a caption, the SVG's text, and the lengths written on it, mm."""

    name: str
    title: str
    svg: str
    lengths: Mapping[str, float]


def eye_drawings(piece: Workpiece) -> list[Drawing]:
    """Each eye upright and level along its axis; none where there are no eyes of their own."""
    found = []
    for eye in piece.eyes:
        if f"eye-{eye.side}" in piece.parts and piece.head is not None:
            across, up, ahead = frame_about(np.array(eye.gaze))
            corners = ("outer", "inner") if eye.side == "left" else ("inner", "outer")  # across is the sitter's left
            for name, other, words in (("upright", up, ("above", "below")), ("level", across, corners)):
                found.append(_drawn(piece, eye, Plane(np.array(eye.centre), ahead, other), name, words))
    return found


def _drawn(piece: Workpiece, eye: Eye, cut: Plane, name: str, words: tuple[str, str]) -> Drawing:
    parts = {"head": piece.needed_head()}
    parts |= {kind: piece.parts[f"{kind}-{eye.side}"] for kind in _FILLS if f"{kind}-{eye.side}" in piece.parts}
    outlines = {kind: section(part, cut) for kind, part in parts.items()}
    marks = [mark for sign, word in zip((1, -1), words, strict=True) for mark in _lid_marks(outlines, eye, sign, word)]
    marks += _bore_mark(outlines["head"], eye)
    radius = eye.diameter / 2
    title = f"The {eye.side} eye, cut {name} along its axis; lengths in mm"
    return Drawing(
        f"cut-{name}-{eye.side}", title, _svg(outlines, marks, radius, title), {m.text: m.length for m in marks}
    )


@dataclass(frozen=True)
class _Mark:
    """A length between two (2,) places (ahead, aside) of the cut."""

    text: str
    start: NDArray[np.float64]
    end: NDArray[np.float64]

    @property
    def length(self) -> float:
        """Millimetres."""
        return float(np.linalg.norm(self.end - self.start))


def _lid_marks(outlines: Mapping[str, Sequence[Outline]], eye: Eye, sign: int, word: str) -> list[_Mark]:
    """The gap behind one lid and the lid's thickness, a little past its edge; nothing where no lid is met."""
    reach = eye.pocket_radius + eye.diameter / 4
    for angle in np.arange(0.0, np.radians(100.0), _STEP):
        met = _crossings(outlines["head"], sign * angle)
        if len(met) and met[0] < reach:
            break
    else:
        return []
    marks = []
    for past, what in zip(_PAST_RIM, ("gap", "lid"), strict=True):
        way = _way(sign * (angle + past))
        head, own = (_crossings(outlines[kind], sign * (angle + past)) for kind in ("head", "eye"))
        if len(own) and what == "gap" and len(head):
            marks.append(_Mark(f"gap {word}", own[-1] * way, head[0] * way))
        elif what == "lid" and len(head) > 1 and head[1] < 2 * reach:
            marks.append(_Mark(f"lid {word}", head[0] * way, head[1] * way))
    return marks


def _bore_mark(head: Sequence[Outline], eye: Eye) -> list[_Mark]:
    """The width of the bore, one and a half radii behind the eye's middle."""
    if not eye.bore_length:
        return []
    behind = np.array([-0.75 * eye.diameter, 0.0])
    sides = [_crossings(head, sign * np.pi / 2, behind) for sign in (1, -1)]
    if not all(len(side) for side in sides):
        return []
    return [_Mark("bore", behind + sides[0][0] * _way(np.pi / 2), behind + sides[1][0] * _way(-np.pi / 2))]


def _way(angle: float) -> NDArray[np.float64]:
    return np.array([np.cos(angle), np.sin(angle)])


def _crossings(
    outlines: Sequence[Outline], angle: float, start: NDArray[np.float64] | None = None
) -> NDArray[np.float64]:
    """(n,) distances, rising, at which a ray of the plane meets outlines; its angle is taken from the way ahead."""
    way = _way(angle)
    square = np.array([-way[1], way[0]])
    found = []
    for outline in outlines:
        points = outline.points - (0.0 if start is None else start)
        off, along = points @ square, points @ way
        next_off, next_along = np.roll(off, -1), np.roll(along, -1)
        over = (off >= 0) != (next_off >= 0)
        share = off[over] / (off[over] - next_off[over])
        found.append(along[over] + share * (next_along[over] - along[over]))
    distances = np.concatenate(found) if found else np.zeros(0)
    return np.sort(distances[distances > 0])


def _svg(outlines: Mapping[str, Sequence[Outline]], marks: Sequence[_Mark], radius: float, title: str) -> str:
    """The drawing, its way ahead to the left."""
    wide, tall = (_BEFORE + _BEHIND) * radius, 2 * _ASIDE * radius
    line, size = 0.008 * radius, 0.15 * radius
    shapes = [
        f'<path d="{" ".join(_path(each, radius) for each in lines)}" fill="{_FILLS[kind]}" fill-rule="evenodd" '
        f'stroke="#26221e" stroke-width="{line:.4f}"/>'
        for kind, lines in outlines.items()
    ]
    axis = f'<path d="M {-_BEFORE * radius:.3f} 0 H {_BEHIND * radius:.3f}" stroke="#7b7269" stroke-width="{line:.4f}" '
    shapes.append(axis + f'stroke-dasharray="{6 * line:.3f} {3 * line:.3f}"/>')
    shapes += [_dimension(mark, radius, line, size) for mark in marks]
    return (
        f'<svg role="img" aria-label="{title}" overflow="hidden" '
        f'viewBox="{-_BEFORE * radius:.3f} {-_ASIDE * radius:.3f} {wide:.3f} {tall:.3f}">{"".join(shapes)}</svg>'
    )


def _path(outline: Outline, radius: float) -> str:
    """An outline's commands, its points no nearer to each other than can be seen."""
    points = outline.points * [-1.0, -1.0]
    steps = np.cumsum(np.linalg.norm(np.diff(points, axis=0, prepend=points[:1]), axis=1))
    _, kept = np.unique((steps / (0.006 * radius)).astype(np.int64), return_index=True)
    away = np.abs(points[kept]).max(axis=1) > 3.5 * radius
    kept = kept[~away | (np.arange(len(kept)) % 25 == 0)]  # what lies outside the drawing is only to close the line
    return "M " + " L ".join(f"{x:.3f} {y:.3f}" for x, y in points[kept]) + " Z"


def _dimension(mark: _Mark, radius: float, line: float, size: float) -> str:
    """A length: its two ends joined in red, and a leader from its middle to the words."""
    (ax, ay), (bx, by) = -mark.start, -mark.end
    joined = f'<path d="M {ax:.3f} {ay:.3f} L {bx:.3f} {by:.3f}" stroke="#9c3b24" stroke-width="{3 * line:.4f}"/>'
    if mark.text == "bore":
        words = (bx + size / 3, 0.35 * radius, "start")
        leader = ""
    else:
        x, y = (ax + bx) / 2, (ay + by) / 2
        side = np.sign(y) or 1.0
        lid = mark.text.startswith("lid")
        words = (-_BEFORE * radius + size / 2, side * (1.0 if lid else 0.62) * _ASIDE * 0.88 * radius, "start")
        end = words[0] + 0.58 * size * len(_label(mark))
        leader = f'<path d="M {x:.3f} {y:.3f} L {end:.3f} {words[1]:.3f}" stroke="#9c3b24" stroke-width="{line:.4f}"/>'
    place = f'x="{words[0]:.3f}" y="{words[1] + size / 3:.3f}" font-size="{size:.3f}"'
    ground = (
        f'<rect x="{words[0] - size / 8:.3f}" y="{words[1] - 0.55 * size:.3f}" height="{1.1 * size:.3f}" '
        f'width="{0.58 * size * len(_label(mark)):.3f}" fill="#fbf9f5" fill-opacity="0.8"/>'
    )
    return f'{joined}{leader}{ground}<text {place} fill="#9c3b24">{_label(mark)}</text>'


def _label(mark: _Mark) -> str:
    return f"{mark.text} {mark.length:.2f}"
