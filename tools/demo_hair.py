"""Hair made for one demo head refitted to another: `python3 tools/demo_hair.py [--out DIR] [--old SEED] [--new SEED]`.

Sculpts a head with a bare scalp and its hair as a part of its own, and another person's head; refits the hair, keys it
to that head, and writes the old head, its hair, and the parts. Prints what the steps measured.
"""

import argparse
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import environment


def main(arguments: list[str]) -> int:
    """Refit, key, write; 0 when the hair lies at its gap."""
    parser = argparse.ArgumentParser(description="Refit the hair of one demo head to another")
    parser.add_argument("--out", type=Path, default=environment.ROOT / "out" / "demo-hair", help="where the files go")
    parser.add_argument("--old", type=int, default=7, help="seed of the person the hair was made for")
    parser.add_argument("--new", type=int, default=0, help="seed of the person it is refitted to; 0 is the portrait")
    parser.add_argument("--grid", type=float, default=1.2, help="grid all of it is sculpted on (mm)")
    parser.add_argument("--scale", default="1/6", help="print size over life size")
    parser.add_argument("--gap", type=float, default=0.05, help="gap under the hair (mm, print size)")
    given = parser.parse_args(arguments)
    given.out.mkdir(parents=True, exist_ok=True)
    files = made(given.out, given.old, given.grid)
    fitted = refitted(sitter(given.new, given.grid, given.scale), files, given.gap)
    for name, value in fitted.history[-1].figures.items():
        print(f"{name}: {value}")
    keyed = run_on(fitted, "key", part="hair", normal=(0, 0.5, 0.85))
    for note in keyed.notes:
        print(note)
    from canthus.files.parts import write_parts

    write_parts(given.out, "demo-hair", keyed.all_parts(), overwrite=True)
    figures = fitted.history[-1].figures
    off = max(abs(figures[name] - given.gap) for name in ("gap_least_mm", "gap_greatest_mm"))
    print(f"the under side is within {off:.3f} mm of its gap; see {given.out}")
    return 0 if off <= 1.01 * fitted.history[-1].settings["tolerance"] else 1


def made(folder: Path, seed: int, grid: float) -> dict[str, str]:
    """The old head and its hair as files; which is which."""
    from canthus.files.writing import write
    from demo_head.build import build
    from demo_head.wig import hair_part

    write(folder / "old-head.ply", build(seed, grid, haired=False).mesh, overwrite=True)
    write(folder / "old-hair.ply", hair_part(seed, grid), overwrite=True)
    return {"old_head": str(folder / "old-head.ply"), "hair": str(folder / "old-hair.ply")}


def sitter(seed: int, grid: float, scale: str):
    """Another person's head with a bare scalp and its landmarks, at print size."""
    from canthus.steps.workpiece import Landmark, Workpiece
    from demo_head.build import build

    head = build(seed, grid, haired=False)
    marks = {name: Landmark(tuple(place.tolist())) for name, place in head.truth.landmarks.items()}
    return run_on(Workpiece("sitter", head=head.mesh, skin=head.mesh, landmarks=marks), "scale", ratio=scale)


def refitted(piece, files: dict[str, str], gap: float):
    """The piece with the hair on it."""
    return run_on(piece, "fit-hair", gap=gap, **files)


def run_on(piece, name: str, **settings):
    """The piece after a step."""
    from canthus.job.run import run
    from canthus.steps.catalogue import step_named

    return run([step_named(name)(**settings)], piece)


if __name__ == "__main__":
    environment.enter("host")
    sys.exit(main(sys.argv[1:]))
