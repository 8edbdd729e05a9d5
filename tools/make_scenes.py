"""Makes the demo scenes: `python3 tools/make_scenes.py [--out DIR] [--points N] [NAME ...]`.

Sculpts the demo head, simulates a capture of it, runs the steps and saves a .blend at four stages: the raw capture,
the cleaned one, the posed head with its lids rebuilt and its eyes in, and the parts ready to print. They are small on
purpose, with few triangles: for looking round and trying buttons, not for judging quality.
"""

import argparse
import dataclasses
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import environment

STAGES = ("1-raw-capture", "2-cleaned", "3-with-eyes", "4-ready-to-print")
GRID = 0.8
"""Grid the demo head is sculpted on, mm, as in the demo; with 200,000 points: at 0.9 and 120,000 the lids are taken for
shut."""
APART = 0.03
"""Millimetres on the print that a part may lie off the one it was made lighter from: less than a pixel of a printer."""


def main(arguments: list[str]) -> int:
    """Make the scenes; says what was written and how large it is."""
    parser = argparse.ArgumentParser(description="Make the demo scenes")
    parser.add_argument("--out", type=Path, default=environment.ROOT / "demo_blend_scenes")
    parser.add_argument("--points", type=int, default=200_000)
    parser.add_argument("names", nargs="*", help="the scenes to make; all of them by default")
    given = parser.parse_args(arguments)
    from canthus.host.pictures.blend_file import save

    given.out.mkdir(parents=True, exist_ok=True)
    last = max(STAGES.index(name) for name in given.names or STAGES)
    for name, piece in stages(given.points):
        if not given.names or name in given.names:
            path = given.out / f"{name}.blend"
            save(piece, path)
            print(f"{path}: {path.stat().st_size / 1e6:.1f} MB", flush=True)
        if name == STAGES[last]:
            break
    return 0


def stages(points: int) -> Iterator[tuple[str, object]]:
    """Each stage's name and workpiece, in order."""
    from canthus.job.run import run
    from canthus.job.sidecar import scanned
    from canthus.steps.catalogue import step_named
    from demo import captured

    def after(piece, *names, **settings):
        return run([step_named(name)(**settings) for name in names], piece)

    with tempfile.TemporaryDirectory() as folder:
        capture = Path(folder) / "sitter.ply"
        captured(capture, points, GRID)
        piece = after(scanned([capture]), "load")
    yield STAGES[0], thinned(piece, 5)
    piece = after(piece, "cull-strays", "cull-lashes", "merge-layers", "denoise")
    yield STAGES[1], thinned(piece, 5)
    piece = after(piece, "close", "landmarks", "pose", "measure", "scale", "place-eyes", "rebuild-lids")
    piece = after(piece, "carve-sockets", "make-eyes")
    yield STAGES[2], lighter(piece)
    piece = after(piece, "neck", "hollow", "key", "vent")
    yield STAGES[3], after(lighter(piece), "check")


def thinned(piece, every):
    """The workpiece with one in so many points of its scan, and none of the simulator's own labels."""
    import numpy as np

    scan = piece.scan.kept(np.arange(0, len(piece.scan), every))
    return piece.but(scan=dataclasses.replace(scan, points=single(scan.points), columns={}))


def lighter(piece):
    """The workpiece without its scan and its uncut skin, each part with as few triangles as keep it within `APART`."""
    from canthus.geometry.mending.reducing import reduced_within

    parts = {name: reduced_within(part, APART) for name, part in piece.all_parts().items()}
    parts = {name: dataclasses.replace(part, vertices=single(part.vertices)) for name, part in parts.items()}
    return piece.but(scan=None, skin=None, head=parts.pop("head"), parts=parts)


def single(places):
    """The (n, 3) places to the 32 bits a scene keeps, so that it need not keep the rest beside them."""
    import numpy as np

    return places.astype(np.float32).astype(np.float64)


if __name__ == "__main__":
    environment.enter("host")
    sys.exit(main(sys.argv[1:]))
