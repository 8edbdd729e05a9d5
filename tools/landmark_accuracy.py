"""How far the proposed landmarks are from the truth, on demo heads of other people in any pose.

    python tools/landmark_accuracy.py [--heads 20] [--poses 5] [--first 40] [--grid 1.4]

Prints a line a landmark: how often it was proposed as sure, median and greatest error then, and the same where weak.
The search was made on seeds 0 to 4 and its canthi set on 0 to 22; the default starts beyond them.
"""

import argparse
import time
from collections import defaultdict
from statistics import median

import environment

Errors = dict[str, list[float]]


def any_pose(seed: int):
    """(4, 4) rigid motion drawn evenly over all turns, and up to 300 mm away."""
    import numpy as np
    from canthus.geometry.transforms import transform
    from scipy.spatial.transform import Rotation

    shift = np.random.default_rng(seed).uniform(-300, 300, 3)
    return transform(Rotation.random(random_state=seed).as_matrix(), shift)


def measure(heads: int, poses: int, first: int, grid_mm: float) -> tuple[Errors, Errors, list[float]]:
    """Errors of sure and of weak landmarks in mm, and the seconds each search took."""
    import numpy as np
    from canthus.anatomy.proposals import SURE, propose_landmarks
    from canthus.geometry.transforms import applied
    from demo_head.build import build

    sure: Errors = defaultdict(list)
    weak: Errors = defaultdict(list)
    seconds = []
    for seed in range(first, first + heads):
        head = build(seed, grid_mm)
        for pose in range(poses):
            motion = any_pose(100 * seed + pose)
            start = time.perf_counter()
            marks = propose_landmarks(head.mesh.moved(motion)).marks
            seconds.append(time.perf_counter() - start)
            back = np.linalg.inv(motion)
            for name, (place, confidence) in marks.items():
                away = float(np.linalg.norm(applied(back, place) - head.truth.landmarks[name]))
                (sure if confidence >= SURE else weak)[name].append(away)
    return sure, weak, seconds


def row(name: str, sure: list[float], weak: list[float]) -> str:
    """A line of the table."""
    cells = [f"{len(each):4d} {median(each):6.2f} {max(each):6.2f}" if each else f"{0:4d}" for each in (sure, weak)]
    return f"{name:27s} {cells[0]:20s} {cells[1]}"


def main() -> None:
    """Print the table."""
    from canthus.anatomy.landmarks import NAMES

    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    for option, default in (("heads", 20), ("poses", 5), ("first", 40)):
        parser.add_argument(f"--{option}", type=int, default=default)
    parser.add_argument("--grid", type=float, default=1.4, help="grid of the demo heads, mm")
    asked = parser.parse_args()
    sure, weak, seconds = measure(asked.heads, asked.poses, asked.first, asked.grid)
    print(f"{'':27s} sure median  most    weak median  most   (mm)")
    for name in NAMES:
        print(row(name, sure[name], weak[name]))
    print(f"{median(seconds):.1f} s a head in the middle, {max(seconds):.1f} at most")


if __name__ == "__main__":
    environment.enter("test")
    main()
