"""Ours beside the reference libraries, in one run: `python3 tools/benchmark.py [NAME ...] [--points N] [--readme]`.

Makes its own environment. Without names everything is measured, which takes the better part of an hour; `--list` says
what there is. `--readme` writes what was measured into README.md, rows of this run in place of the same rows there;
`--growth` measures time and memory at rising sizes and draws `tools/benchmarks/growth.svg`. Times on a shared machine
wander by a third: the ratios of one run are what counts.
"""

import argparse
import importlib
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import environment

STAGES = ("clean", "surface", "patch", "detail", "hair", "output")
"""Modules of tools/benchmarks that declare rows."""


def main(words: list[str]) -> int:
    """Measure what was asked for; 0 unless a row fell short of its bar."""
    from benchmarks import growth, table
    from benchmarks.bench import Bench
    from benchmarks.rows import MEASURES

    for stage in STAGES:
        if (Path(__file__).parent / "benchmarks" / f"{stage}.py").exists():
            importlib.import_module(f"benchmarks.{stage}")
    given = _arguments(list(MEASURES), words)
    if given.list:
        print("\n".join(MEASURES))
        return 0
    rows = []
    if not given.growth or given.names:
        bench = Bench(given.grid)
        for name in given.names or MEASURES:
            measure = MEASURES[name]
            for size in [given.points] if given.points else measure.sizes:
                print(f"{name}, {size:,}", file=sys.stderr, flush=True)
                rows.extend(measure.rows(bench, size))
        print(table.plain(rows))
    if given.growth:
        growth.draw(growth.measured_at(given.sizes, given.grid))
    if given.readme:
        table.written(rows)
    return 0 if all(table.verdict(row) is not False for row in rows) else 1


def _arguments(names: list[str], words: list[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(description="Ours beside the reference libraries, in one run")
    parser.add_argument("names", nargs="*", help="what to measure")
    parser.add_argument("--points", type=int, default=0, help="size instead of the usual ones")
    parser.add_argument("--grid", type=float, default=0.8, help="grid the head is sculpted on (mm)")
    parser.add_argument("--readme", action="store_true", help="write the rows into README.md")
    parser.add_argument("--growth", action="store_true", help="measure time and memory at rising sizes, and draw them")
    parser.add_argument("--sizes", type=int, nargs="+", default=[200_000, 1_000_000, 3_000_000, 5_000_000])
    parser.add_argument("--list", action="store_true", help="name what can be measured")
    given = parser.parse_args(words)
    unknown = [name for name in given.names if name not in names]
    if unknown:
        parser.error(f"nothing is called {', '.join(unknown)}: there is {', '.join(names)}")
    return given


if __name__ == "__main__":
    environment.enter("test", "reference", pythons=("3.13", "3.11"))
    sys.exit(main(sys.argv[1:]))
