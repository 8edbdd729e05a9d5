"""Time and memory for each point as clouds grow, drawn as two plots beside each other."""

import json
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

PICTURE = Path(__file__).with_name("growth.svg")
STEPS = ("assess", "cull-strays", "merge-layers", "denoise", "close")
"""Steps whose work goes with the points; the later ones see a surface of a chosen resolution."""
_INKS = ("#8a5a2b", "#2b6a8a", "#4a7a2b", "#c07a00", "#7a2b5e")


@dataclass(frozen=True)
class Growth:
    """One step on one cloud: how many points, seconds, and the most memory the process held, megabytes."""

    step: str
    points: int
    seconds: float
    megabytes: float


def measured_at(sizes: Sequence[int], grid_mm: float) -> list[Growth]:
    """Each step at each size; every size in a process of its own, whose memory nothing else has touched."""
    found = []
    for points in sizes:
        print(f"growth, {points:,}", file=sys.stderr, flush=True)
        command = [sys.executable, "-m", "benchmarks.growth", str(points), str(grid_mm)]
        done = subprocess.run(command, cwd=Path(__file__).parents[1], stdout=subprocess.PIPE, text=True, check=True)
        found += [Growth(**each) for each in json.loads(done.stdout.splitlines()[-1])]
    for each in found:
        print(
            f"{each.step:12} {each.points:>9,} points {each.seconds:7.1f} s {each.megabytes:7.0f} MB"
            f" {1e6 * each.seconds / each.points:6.1f} µs and {1024 * each.megabytes / each.points:5.1f} kB a point"
        )
    return found


def draw(found: Sequence[Growth], path: Path = PICTURE) -> None:
    """Write both plots as one SVG: microseconds and kilobytes for each point, over points."""
    time = [(each.step, each.points, 1e6 * each.seconds / each.points) for each in found]
    memory = [(each.step, each.points, 1024 * each.megabytes / each.points) for each in found]
    body = _plot(time, 0, "µs for each point") + _plot(memory, 420, "kB for each point, at the peak")
    path.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 840 320" font-family="sans-serif" font-size="13">\n'
        '<rect width="840" height="320" fill="white"/>\n' + "\n".join(body) + "\n</svg>\n",
        encoding="utf-8",
    )


def _plot(values: Sequence[tuple[str, int, float]], left: float, title: str) -> list[str]:
    """One plot 400 wide: a line a step, its values written at the points, axes from nought."""
    most = max(points for _, points, _ in values)
    top = 1.15 * max(value for _, _, value in values)
    steps = list(dict.fromkeys(step for step, _, _ in values))

    def place(points: float, value: float) -> tuple[float, float]:
        return left + 50 + 310 * points / most, 270 - 220 * value / top

    parts = [f'<text x="{left + 50}" y="24" font-weight="bold">{title}</text>']
    parts.append(f'<path d="M{left + 50},50V270H{left + 370}" fill="none" stroke="#444"/>')
    for points in sorted({points for _, points, _ in values}):
        x, _ = place(points, 0)
        parts.append(f'<text x="{x:.0f}" y="288" text-anchor="middle">{points / 1e6:g} M</text>')
    for share in (0.0, 0.5, 1.0):
        _, y = place(0, share * top / 1.15)
        parts.append(f'<text x="{left + 44}" y="{y + 4:.0f}" text-anchor="end">{share * top / 1.15:.3g}</text>')
    for number, step in enumerate(steps):
        ink = _INKS[number % len(_INKS)]
        line = [place(points, value) for name, points, value in values if name == step]
        path = "L".join(f"{x:.1f},{y:.1f}" for x, y in line)
        parts.append(f'<path d="M{path}" fill="none" stroke="{ink}" stroke-width="2"/>')
        parts += [f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3" fill="{ink}"/>' for x, y in line]
        parts.append(f'<text x="{left + 10 + 82 * number}" y="310" fill="{ink}">{step}</text>')
    return parts


def _one(points: int, grid_mm: float) -> list[dict[str, object]]:
    """The steps one after another on one cloud, in this process."""
    import dataclasses

    from canthus.job.run import run_step
    from canthus.steps.catalogue import step_named
    from canthus.steps.workpiece import Workpiece

    from .rows import Bench

    piece = Workpiece(scan=dataclasses.replace(Bench(grid_mm).cloud(points), normals=None))
    for name in STEPS:
        piece = run_step(step_named(name)(), piece)
    return [dataclasses.asdict(Growth(done.name, points, done.seconds, done.peak_mb)) for done in piece.history]


if __name__ == "__main__":
    print(json.dumps(_one(int(sys.argv[1]), float(sys.argv[2]))))
