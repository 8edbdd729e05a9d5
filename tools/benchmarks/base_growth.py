"""Seconds and memory of a base's fit as the base grows, drawn as one plot."""

import json
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from . import plots

PICTURE = Path(__file__).with_name("base_growth.svg")
LEVELS = (-2, -1, 0, 1)
"""Subdivisions of our own base, each with four times the vertices; below nought it is taken before them."""


@dataclass(frozen=True)
class Size:
    """One base: its vertices, the seconds its fit took, and the most memory that process held, megabytes."""

    vertices: int
    seconds: float
    megabytes: float


def measured(grid_mm: float) -> list[Size]:
    """Each size in a process of its own."""
    found = []
    for level in LEVELS:
        command = [sys.executable, "-m", "benchmarks.base_growth", str(level), str(grid_mm)]
        done = subprocess.run(command, cwd=Path(__file__).parents[1], stdout=subprocess.PIPE, text=True, check=True)
        size = Size(**json.loads(done.stdout.splitlines()[-1]))
        print(f"{size.vertices:>8,} vertices {size.seconds:6.1f} s {size.megabytes:7.0f} MB", flush=True)
        found.append(size)
    return found


def draw(found: Sequence[Size], path: Path = PICTURE) -> None:
    """Write seconds over vertices, both axes from nought, with the bar of 20 s at 50,000."""
    frame = plots.Frame(
        60,
        50,
        530,
        220,
        1.05 * max(each.vertices for each in found),
        1.2 * max(20.0, *(each.seconds for each in found)),
    )
    marks = {each.vertices: f"{each.vertices:,}" for each in found}
    body = frame.drawn("fit-base: seconds", "vertices of the base", marks)
    body += frame.line([(each.vertices, each.seconds) for each in found], plots.INKS[1])
    x, y = frame.place(50_000, 20.0)
    body.append(f'<path d="M{x - 6:.1f},{y:.1f}h12" stroke="{plots.INKS[3]}" stroke-width="3"/>')
    body.append(
        f'<text x="{x - 10:.1f}" y="{y - 6:.1f}" text-anchor="end" fill="{plots.INKS[3]}">20 s at 50,000</text>'
    )
    for each in found[1:]:  # the first two lie too near each other
        x, y = frame.place(each.vertices, each.seconds)
        body.append(f'<text x="{x:.1f}" y="{y - 8:.1f}" text-anchor="middle">{each.seconds:.1f} s</text>')
    path.write_text(plots.picture(620, 320, body), encoding="utf-8")


def _base(level: int):
    """Our base with so many levels more, or fewer: landmarks then on the nearest vertex that is left."""
    import numpy as np
    from canthus.anatomy.skin.base_head import BaseHead, own_base
    from scipy.spatial import cKDTree

    own = own_base()
    if level >= 0:
        return own.finer(level)
    coarse = own.quads
    for _ in range(-level):
        coarse = coarse.reshape(-1, 4, 4)[:, :, 0]  # the four fine faces of a coarse one each begin at a corner of it
    used = int(coarse.max()) + 1
    rows = cKDTree(own.vertices[:used]).query(np.array(list(own.places().values())))[1]
    return BaseHead(own.vertices[:used], coarse, dict(zip(own.landmarks, rows.tolist(), strict=True)))


def _one(level: int, grid_mm: float) -> Size:
    import resource
    import time

    from canthus.anatomy.skin.base_fit import fit_base
    from canthus.geometry.quad_meshes.goal import Goal
    from demo_head.build import build

    head, base = build(1, grid_mm), _base(level)
    marks = {name: place for name, place in head.truth.landmarks.items() if name != "vertex"}
    pairs = {base.landmarks[name]: place for name, place in marks.items()}
    start = time.perf_counter()
    fit_base(base, Goal(head.mesh), pairs, level=0)
    seconds = time.perf_counter() - start
    return Size(len(base.vertices), seconds, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)


if __name__ == "__main__":
    print(json.dumps(asdict(_one(int(sys.argv[1]), float(sys.argv[2])))))
