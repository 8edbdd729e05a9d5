"""Before and after pictures of the real captures: `python3 tools/before_after.py [--out DIR] [NAME...]`.

Fetches each capture by package name (`tests/captures.py`), takes it through the whole job as far as `close`, and draws
it from four sides: the raw capture above, the closed head below. A PNG a capture, and a line of figures; nothing of a
capture is committed.
"""

import argparse
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parent))

import environment

SIDES = {"front": 0.0, "three-quarter": 40.0, "side": 90.0, "back": 180.0}
"""Where the eye stands, degrees round the vertical from the face towards the subject's left."""


@dataclass(frozen=True)
class Real:
    """A capture, and how it lies: which of its axes point to the subject's left, out of the face, and up."""

    fetch: Callable[[], Any]
    left: tuple[float, float, float]
    front: tuple[float, float, float]
    up: tuple[float, float, float]


def reals() -> dict[str, Real]:
    """The captures of tests/captures.py that show a head, by name."""
    import captures

    return {
        "face-range-map": Real(captures.face_range_map, (1, 0, 0), (0, 0, 1), (0, 1, 0)),
        "bust": Real(captures.bust, (1, 0, 0), (0, 0, 1), (0, 1, 0)),
        "mri-head": Real(captures.mri_head, (-1, 0, 0), (0, 1, 0), (0, 0, 1)),
        "mri-inside-too": Real(lambda: captures.mri_head(skin_only=False), (-1, 0, 0), (0, 1, 0), (0, 0, 1)),
        "average-head": Real(captures.average_head, (-1, 0, 0), (0, 1, 0), (0, 0, 1)),
    }


def main(arguments: list[str]) -> int:
    """Draw the captures asked for, all of them by default."""
    sys.path.insert(0, str(environment.ROOT / "tests"))
    from canthus.files.png import write_png
    from captures import NotFetched

    parser = argparse.ArgumentParser(description="Before and after pictures of the real captures")
    parser.add_argument("names", nargs="*", choices=[[], *reals()], help="captures (all of them)")
    parser.add_argument("--out", type=Path, default=environment.ROOT / "out" / "before-after")
    given = parser.parse_args(arguments)
    given.out.mkdir(parents=True, exist_ok=True)
    missing = 0
    for name in given.names or list(reals()):
        real = reals()[name]
        try:
            raw = real.fetch()
        except NotFetched as trouble:
            print(f"{name}: {trouble}")
            missing += 1
            continue
        picture, figures = before_and_after(raw, real)
        with (given.out / f"{name}.png").open("wb") as file:
            write_png(file, picture)
        print(f"{name}: {figures}", flush=True)
    return int(missing > 0)


def before_and_after(raw: Any, real: Real) -> tuple[Any, str]:
    """The picture of one capture, (h, w, 3) bytes, and what was done in a line."""
    import time

    import numpy as np
    from canthus.job.chain import chain
    from canthus.steps.workpiece import Workpiece

    start = time.perf_counter()
    piece = Workpiece(scan=raw)
    steps = chain({})
    for step in steps[: [each.NAME for each in steps].index("close") + 1]:
        piece = step.apply(piece)
        if step.NAME == "load":
            loaded = piece.scan
    seconds = time.perf_counter() - start
    head = piece.needed_head()
    axes = np.array([real.left, real.front, real.up], float)
    spot = head.vertices @ axes.T
    middle, width = (spot.min(axis=0) + spot.max(axis=0)) / 2, 1.05 * float(np.ptp(spot, axis=0).max())
    rows = [
        np.concatenate([drawn(each, axes, middle, width, turn) for turn in SIDES.values()], axis=1)
        for each in (loaded, head)
    ]
    return np.concatenate(rows), f"{len(raw.vertices):,} points to {len(head.triangles):,} triangles in {seconds:.1f} s"


def drawn(thing: Any, axes: Any, middle: Any, width: float, turn: float, pixels: int = 560) -> Any:
    """A cloud or a mesh from one side as (pixels, pixels, 3) bytes, lit from above."""
    import numpy as np
    from canthus.geometry.views.depth_map import depth_map
    from scipy import ndimage

    angle = np.radians(turn)
    left, front, up = axes
    eye = np.cos(angle) * front + np.sin(angle) * left
    across = np.cos(angle) * left - np.sin(angle) * front  # to the picture's right
    places = (thing.vertices if hasattr(thing, "triangles") else thing.points) @ np.stack([across, up, eye]).T
    at = np.array([across, up, eye]) @ axes.T @ middle
    pixel = width / pixels
    low = (float(at[0]) - width / 2, float(at[1]) - width / 2)
    if hasattr(thing, "triangles"):
        seen = depth_map(places, thing.triangles, low, (low[0] + width, low[1] + width), pixel)
        depths = seen.depths[:pixels, :pixels]
    else:
        depths = np.full((pixels, pixels), -np.inf)
        cells = np.rint((places[:, :2] - low) / pixel).astype(int)
        inside = ((cells >= 0) & (cells < pixels)).all(axis=1)
        np.maximum.at(depths, (cells[inside, 1], cells[inside, 0]), places[inside, 2])
        depths[np.isneginf(depths)] = np.nan
    shade = _shaded(depths, pixel, ndimage)
    return np.repeat((255 * shade[::-1, :, None]).astype(np.uint8), 3, axis=2)


def _shaded(depths: Any, pixel: float, ndimage: Any) -> Any:
    """Grey from 0 to 1 of a picture of depths: white paper where nothing was seen."""
    import numpy as np

    seen = np.isfinite(depths)
    slopes = np.gradient(np.where(seen, depths, np.nan), pixel)
    normal = np.stack([-slopes[1], -slopes[0], np.ones_like(depths)])
    normal /= np.linalg.norm(normal, axis=0)
    light = np.array([-0.35, 0.55, 0.76])
    grey = 0.16 + 0.74 * np.clip(np.tensordot(light, normal, 1), 0, 1)
    return np.where(seen & np.isfinite(grey), grey, np.where(seen, 0.25, 1.0))


if __name__ == "__main__":
    environment.enter("test")
    sys.exit(main(sys.argv[1:]))
