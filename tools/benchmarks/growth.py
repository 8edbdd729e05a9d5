"""Time and memory for each point as clouds grow, drawn as two plots beside each other."""

import json
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from . import plots

PICTURE = Path(__file__).with_name("growth.svg")
STEPS = ("assess", "cull-strays", "merge-layers", "denoise", "close")
"""Steps whose work goes with the points; the later ones see a surface of a chosen resolution."""


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
    body = _plot(time, 60, "µs for each point") + _plot(memory, 480, "kB for each point, at the peak")
    steps = list(dict.fromkeys(each.step for each in found))
    path.write_text(plots.picture(840, 360, body + plots.legend(steps, 60, 344)), encoding="utf-8")


def _plot(values: Sequence[tuple[str, int, float]], left: float, title: str) -> list[str]:
    """One plot: a line a step over millions of points."""
    sizes = sorted({points for _, points, _ in values})
    frame = plots.Frame(left, 50, 330, 220, 1.05 * sizes[-1], 1.1 * max(value for _, _, value in values))
    parts = frame.drawn(title, "million points", {points: f"{points / 1e6:g}" for points in sizes})
    for number, step in enumerate(dict.fromkeys(step for step, _, _ in values)):
        line = [(points, value) for name, points, value in values if name == step]
        parts += frame.line(line, plots.INKS[number % len(plots.INKS)])
    return parts


def _one(points: int, grid_mm: float) -> list[dict[str, object]]:
    """The steps one after another on one cloud, in this process."""
    import dataclasses

    from canthus.job.run import run_step
    from canthus.steps.catalogue import step_named
    from canthus.steps.workpiece import Workpiece

    from .bench import Bench

    piece = Workpiece(scan=dataclasses.replace(Bench(grid_mm).cloud(points), normals=None))
    for name in STEPS:
        piece = run_step(step_named(name)(), piece)
    return [dataclasses.asdict(Growth(done.name, points, done.seconds, done.peak_mb)) for done in piece.history]


if __name__ == "__main__":
    print(json.dumps(_one(int(sys.argv[1]), float(sys.argv[2]))))
