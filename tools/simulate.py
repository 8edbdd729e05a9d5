"""Make a labelled capture of the demo head, or of any closed head.

    python tools/simulate.py --points 1000000 --seed 1 -o capture.ply

Beside the capture goes `capture.truth.json`: landmarks, eyes, the settings, and how the capture lies.
"""

import argparse
import dataclasses
import json
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import environment


def main(arguments: list[str]) -> int:
    """Run the command; 0 when the capture is written."""
    from canthus.files.reading import read
    from canthus.files.writing import write
    from demo_head.build import build
    from simulator.capture import raw_frame, simulate
    from simulator.settings import LABELS, Settings

    parser = argparse.ArgumentParser(description="Simulate a labelled capture of a head")
    parser.add_argument("-o", "--out", type=Path, required=True, help="the capture, .ply")
    parser.add_argument("--head", type=Path, help="a closed head, face to -Y, millimetres (default: the demo head)")
    parser.add_argument("--person", type=int, default=0, help="seed of the demo head; 0 is the portrait")
    parser.add_argument("--grid", type=float, default=0.6, help="grid of the demo head (mm)")
    for field in dataclasses.fields(Settings):
        flag = "--" + field.name.replace("_", "-")
        if field.type is bool:
            parser.add_argument("--raw", dest=field.name, action="store_false", help="turned and shifted anyhow")
        else:
            parser.add_argument(flag, type=field.type, default=field.default)
    given = parser.parse_args(arguments)
    settings = Settings(**{field.name: getattr(given, field.name) for field in dataclasses.fields(Settings)})
    if given.head is None:
        head = build(given.person, given.grid)
        mesh, truth = head.mesh, head.truth
    else:
        mesh, truth = read(given.head), None
    cloud = simulate(mesh, settings, truth)
    write(given.out, cloud, overwrite=True)
    known = {} if truth is None else truth.moved(raw_frame(settings)).to_json()
    known |= {"frame": raw_frame(settings).tolist(), "settings": dataclasses.asdict(settings), "labels": LABELS}
    known["sensors"] = cloud.sensors.tolist()
    given.out.with_suffix(".truth.json").write_text(json.dumps(known, indent=1))
    counts = [int((cloud.columns["label"] == number).sum()) for number in range(len(LABELS))]
    print(
        f"{given.out}: {len(cloud):,} points: "
        + ", ".join(f"{n:,} {name}" for n, name in zip(counts, LABELS, strict=True))
    )
    return 0


if __name__ == "__main__":
    environment.enter("test")
    sys.exit(main(sys.argv[1:]))
