"""The frame of a plot as SVG: axes from nought with their names, round marks up one side, and lines with a legend."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

INKS = ("#8a5a2b", "#2b6a8a", "#4a7a2b", "#c07a00", "#7a2b5e")


@dataclass(frozen=True)
class Frame:
    """Where a plot stands in the picture, in its units, and the greatest values its axes hold."""

    left: float
    top: float
    width: float
    height: float
    most_across: float
    most_up: float

    def place(self, across: float, up: float) -> tuple[float, float]:
        """Where a pair of values lies in the picture."""
        x = self.left + self.width * across / self.most_across
        return x, self.top + self.height * (1 - up / self.most_up)

    def drawn(self, title: str, across_name: str, marks: Mapping[float, str]) -> list[str]:
        """Title, both axes, round values up the left and the marks given along the bottom, each where there is room."""
        right, bottom = self.left + self.width, self.top + self.height
        parts = [f'<text x="{self.left:g}" y="{self.top - 26:g}" font-weight="bold">{title}</text>']
        for value in round_values(self.most_up):
            _, y = self.place(0, value)
            if value:
                parts.append(f'<path d="M{self.left:g},{y:.1f}H{right:g}" stroke="#ddd"/>')
            parts.append(f'<text x="{self.left - 6:g}" y="{y + 4:.1f}" text-anchor="end">{value:g}</text>')
        parts.append(f'<path d="M{self.left:g},{self.top:g}V{bottom:g}H{right:g}" fill="none" stroke="#444"/>')
        last = -math.inf
        for value, label in sorted(marks.items()):
            x, _ = self.place(value, 0)
            parts.append(f'<path d="M{x:.1f},{bottom:g}v4" stroke="#444"/>')
            if x - last > 7.5 * len(label) + 6:
                parts.append(f'<text x="{x:.1f}" y="{bottom + 18:g}" text-anchor="middle">{label}</text>')
                last = x
        middle = self.left + self.width / 2
        parts.append(f'<text x="{middle:g}" y="{bottom + 36:g}" text-anchor="middle" fill="#444">{across_name}</text>')
        return parts

    def line(self, values: Sequence[tuple[float, float]], ink: str) -> list[str]:
        """One line with a dot at each pair of values."""
        dots = [self.place(*pair) for pair in values]
        path = "L".join(f"{x:.1f},{y:.1f}" for x, y in dots)
        parts = [f'<path d="M{path}" fill="none" stroke="{ink}" stroke-width="2"/>']
        return parts + [f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3" fill="{ink}"/>' for x, y in dots]


def round_values(most: float) -> list[float]:
    """From nought up to `most` in three to six steps of one, two or five times a power of ten."""
    power = 10.0 ** math.floor(math.log10(most / 3))
    step = max(factor * power for factor in (1, 2, 5) if factor * power <= most / 3)
    return [count * step for count in range(int(most / step) + 1)]


def legend(names: Sequence[str], x: float, y: float) -> list[str]:
    """The names one beside the other, each after a stroke of its line's ink."""
    parts = []
    for number, name in enumerate(names):
        ink = INKS[number % len(INKS)]
        parts.append(f'<path d="M{x:g},{y - 4:g}h18" stroke="{ink}" stroke-width="2"/>')
        parts.append(f'<text x="{x + 24:g}" y="{y:g}" fill="{ink}">{name}</text>')
        x += 24 + 7.5 * len(name) + 24  # letters of that size are some 7.5 wide
    return parts


def picture(width: float, height: float, body: Sequence[str]) -> str:
    """The whole SVG on white."""
    head = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}"'
    body = [
        f'{head} font-family="sans-serif" font-size="13">',
        f'<rect width="{width:g}" height="{height:g}" fill="white"/>',
        *body,
    ]
    return "\n".join([*body, "</svg>"]) + "\n"
