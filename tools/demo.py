"""The whole job on the demo head: `python3 tools/demo.py [--out DIR] [--points N]`.

Sculpts the demo head, simulates a capture of it as a scanner gives it (any orientation, metres), and runs
`canthus make` on the capture. Makes its own environment; nothing has to be installed first.
"""

import argparse
import json
import sys
import time
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parent))

import environment


def main(arguments: list[str]) -> int:
    """Run the demo; 0 when every part came out sound."""
    parser = argparse.ArgumentParser(description="Run the whole job on the demo head")
    parser.add_argument("--out", type=Path, default=environment.ROOT / "out" / "demo", help="where the results go")
    parser.add_argument("--points", type=int, default=200_000, help="points of the simulated capture")
    parser.add_argument("--grid", type=float, default=0.8, help="grid the head is sculpted on (mm)")
    given = parser.parse_args(arguments)
    given.out.mkdir(parents=True, exist_ok=True)
    capture = given.out / "scan.ply"  # kept: the recipe names it
    _say(f"sculpting the demo head and scanning it ({given.points:,} points)")
    truth = captured(capture, given.points, given.grid)
    _say("canthus make")
    status = made(capture, given.out)
    if status not in (0, 1):
        return status
    (given.out / "truth.json").write_text(json.dumps(truth, indent=1), encoding="utf-8")
    print(summary(given.out))
    return status


def captured(path: Path, points: int, grid_mm: float) -> dict[str, object]:
    """Write a simulated raw capture of the demo head; what is known of it, in the capture's own frame."""
    from canthus.files.writing import write
    from demo_head.build import build
    from simulator.capture import raw_frame, simulate
    from simulator.settings import Settings

    settings = Settings(points=points, seed=1, posed=False, unit="m")
    head = build(grid_mm=grid_mm)
    write(path, simulate(head.mesh, settings, head.truth), overwrite=True)
    return head.truth.moved(raw_frame(settings)).to_json() | {"frame": raw_frame(settings).tolist(), "unit": "m"}


def made(capture: Path, out: Path) -> int:
    """Run `canthus make` as a user does; its exit status."""
    from canthus.__main__ import run

    words = ["make", str(capture), "--name", "demo", "--scale", "1/6", "--out", str(out), "--overwrite"]
    sys.argv = ["canthus", *words]
    return int(run() or 0)


def summary(out: Path) -> str:
    """What the report says beside the parts, and how far the eyes lie from where they truly are."""
    report = json.loads((out / "report.json").read_text(encoding="utf-8"))
    truth = json.loads((out / "truth.json").read_text(encoding="utf-8"))
    passed = sum(check["ok"] for check in report["checks"])
    seconds = sum(step["seconds"] for step in report["steps"])
    off = ", ".join(f"{side} {error:.2f} mm" for side, error in eye_errors(report, truth).items())
    return "\n".join(
        [
            f"eye centres off the truth, at life size: {off}",
            f"{passed} of {len(report['checks'])} checks passed; {len(report['steps'])} steps in {seconds:.0f} s",
            f"see {out / 'report.html'}",
        ]
    )


def eye_errors(report: dict[str, Any], truth: dict[str, Any]) -> dict[str, float]:
    """Distance of each eye's centre from the true one, millimetres at life size, by side.

    The report's `frame` leads from the capture's own frame, which the truth is in, to that of the parts.
    """
    import numpy as np  # not there before the environment is entered

    frame = np.array(report["frame"])
    errors = {}
    for eye in report["eyes"]:
        true = frame[:3, :3] @ np.array(truth["eyes"][eye["side"]]["centre"]) + frame[:3, 3]
        errors[eye["side"]] = float(np.linalg.norm(np.array(eye["centre_mm"]) - true) / report["scale"])
    return errors


def _say(what: str) -> None:
    print(f"{time.strftime('%H:%M:%S')} {what}", flush=True)


if __name__ == "__main__":
    environment.enter("host")
    sys.exit(main(sys.argv[1:]))
