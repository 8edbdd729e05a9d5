"""The README's picture, from a demo's folder: `python3 tools/readme_picture.py OUT`.

OUT is what `python3 tools/demo.py --out OUT` left. Side by side: the raw capture, the head it became, an eye, and how
the parts go together; the last three are the report's own. With ImageMagick's `convert`.
"""

import base64
import html
import json
import re
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parent))

import environment

PICTURE = environment.ROOT / "addon" / "manual" / "pictures" / "scan-to-parts.png"
TAKEN = ("Three-quarter, the sitter's left", "The left eye, from the front", "The parts drawn apart")
"""How the captions of the report's pictures begin."""
SIDE = 480
"""Pixels, each way, of one of the four."""


def main(folder: Path) -> int:
    """Write the picture; 1 where the report holds no such pictures."""
    from canthus.files.png import write_png
    from canthus.files.reading import read

    found = pictures((folder / "report.html").read_text(encoding="utf-8"))
    chosen = [next((data for name, data in found.items() if name.startswith(start)), b"") for start in TAKEN]
    if not all(chosen):
        print(f"{folder / 'report.html'} lacks a picture: run tools/demo.py with Blender there", file=sys.stderr)
        return 1
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    with tempfile.TemporaryDirectory() as work:
        paths = [Path(work) / f"{number}.png" for number in range(1 + len(chosen))]
        with paths[0].open("wb") as file:
            write_png(file, cloud_picture(read(folder / "scan.ply"), truth["frame"]))
        for path, data in zip(paths[1:], chosen, strict=True):
            path.write_bytes(data)
        how = ["-resize", f"{SIDE}x{SIDE}", "+append", "+dither", "-colors", "256"]
        subprocess.run(["convert", *map(str, paths), *how, f"PNG8:{PICTURE}"], check=True)
    return 0


def pictures(page: str) -> dict[str, bytes]:
    """The pictures a report holds, by their captions."""
    held = re.findall(r'<img alt="([^"]*)" src="data:image/png;base64,([^"]*)"', page)
    return {html.unescape(caption): base64.b64decode(data) for caption, data in held}


def cloud_picture(cloud: Any, frame: list[list[float]], pixels: int = 2 * SIDE) -> Any:
    """The points as they came, (pixels, pixels, 3) bytes, in their colours from where the head's picture is taken."""
    import numpy as np

    back = np.linalg.inv(np.array(frame))
    places = cloud.points @ back[:3, :3].T + back[:3, 3]
    turn = np.radians(40)
    across, towards = np.array([np.cos(turn), np.sin(turn), 0]), np.array([np.sin(turn), -np.cos(turn), 0])
    seen = (places @ np.stack([across, [0, 0, 1], towards]).T)[:, :2]
    order = np.argsort(places @ towards)  # the nearest are drawn last
    low, high = np.percentile(seen, [0.5, 99.5], axis=0)
    spots = np.rint((seen - (low + high) / 2) * (0.8 * pixels / float((high - low).max())) + pixels / 2).astype(int)
    order = order[((spots >= 0) & (spots < pixels - 2)).all(axis=1)[order]]
    picture = np.full((pixels, pixels, 3), 100, np.uint8)
    for right, up in np.ndindex(2, 3):  # a point is a dot of two by three pixels
        picture[spots[order, 1] + up, spots[order, 0] + right] = cloud.colours[order]
    return picture[::-1]


if __name__ == "__main__":
    environment.enter("test")
    sys.exit(main(Path(sys.argv[1])))
