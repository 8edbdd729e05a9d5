"""The manual's pictures out of those of the window: `python3 tools/manual_pictures.py WINDOW_PICTURES_DIR`.

Cut to the 3D view and its sidebar, 1,000 pixels wide, in few colours; with ImageMagick's `convert`. The folder holds
what `tools/window_pictures.py` and `tools/window_detail.py` wrote.
"""

import subprocess
import sys
from pathlib import Path

PICTURES = Path(__file__).resolve().parents[1] / "addon" / "manual" / "pictures"
VIEW = "1312x880+0+24"
"""The 3D view on a screen of 1600 by 1000."""
TAKEN = {
    "load": "01-load",
    "at-work": "06-close-at-work",
    "landmarks": "07-landmarks",
    "eyes-placed": "11-place_eyes",
    "pocket": "pocket",
    "margin-dragged": "margin-dragged",
    "eyes-made": "14-make_eyes",
    "brow-dragged": "brow-dragged",
    "strength-painted": "strength-painted",
    "cut-plane": "cut-plane",
    "wall-to-come": "wall-to-come-x",
    "neck": "16-neck",
    "section": "section",
    "findings": "findings",
}
"""The manual's name of a picture to the window's."""


def main(folder: Path) -> int:
    """Write those that are there; names the others, and is 1 then."""
    missing = []
    for name, source in TAKEN.items():
        path = folder / f"{source}.png"
        if not path.exists():
            missing.append(path.name)
            continue
        how = ["-crop", VIEW, "+repage", "-resize", "1000x", "+dither", "-colors", "256"]
        subprocess.run(["convert", str(path), *how, f"PNG8:{PICTURES / name}.png"], check=True)
    if missing:
        print(f"not there: {', '.join(missing)}", file=sys.stderr)
    return 1 if missing else 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
